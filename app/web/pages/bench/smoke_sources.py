"""Smoke sources: the list, and the form that adds or changes one."""

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any

from starlette.responses import RedirectResponse, Response

from app.services.bench.definitions import NewSmokeSource
from app.services.bench.smoke_sources import add_smoke_source, change_smoke_source, get_smoke_source
from app.services.history.change_history import DescribedChange, change_history
from app.services.units.cursor_lists import list_smoke_sources
from app.web.api.shapes import Id
from app.web.dependencies import RenderDep, SessionDep
from app.web.forms.typed_form import TypedForm, TypedFormDep, empty_form, filled_form
from app.web.routers import page_router

router = page_router()


@dataclass(frozen=True, slots=True)
class SmokeSourceList:
    sources: Sequence[Any]


@dataclass(frozen=True, slots=True)
class SmokeSourceForm:
    title: str
    form: TypedForm
    is_change: bool = False
    changes: Sequence[DescribedChange] = ()


@router.get("/smoke-sources")
def smoke_sources(session: SessionDep, render: RenderDep) -> Response:
    return render("pages/bench/smoke_sources.html", SmokeSourceList(list_smoke_sources(session).rows))


@router.get("/smoke-sources/add")
def smoke_source_to_add(render: RenderDep) -> Response:
    return render("pages/bench/smoke_source_form.html", SmokeSourceForm("Add a smoke source", empty_form()))


@router.post("/smoke-sources/add")
def smoke_source_added(session: SessionDep, render: RenderDep, form: TypedFormDep) -> Response:
    new = form.entry(NewSmokeSource)
    if new is not None:
        with form.attempt(session):
            add_smoke_source(session, new, who=form.text("who"))
            return RedirectResponse("/smoke-sources", 303)
    page = SmokeSourceForm("Add a smoke source", form)
    return render("pages/bench/smoke_source_form.html", page, status_code=422)


@router.get("/smoke-sources/{source_id}/edit")
def smoke_source_to_change(source_id: Id, session: SessionDep, render: RenderDep) -> Response:
    source = get_smoke_source(session, source_id)
    page = _changing(session, source.name, source_id, filled_form(NewSmokeSource, source))
    return render("pages/bench/smoke_source_form.html", page)


@router.post("/smoke-sources/{source_id}/edit")
def smoke_source_changed(source_id: Id, session: SessionDep, render: RenderDep, form: TypedFormDep) -> Response:
    before = get_smoke_source(session, source_id).name
    new = form.entry(NewSmokeSource)
    if new is not None:
        with form.attempt(session):
            change_smoke_source(session, source_id, asdict(new), who=form.text("who"))
            return RedirectResponse("/smoke-sources", 303)
    return render("pages/bench/smoke_source_form.html", _changing(session, before, source_id, form), status_code=422)


def _changing(session: SessionDep, name: str, source_id: int, form: TypedForm) -> SmokeSourceForm:
    return SmokeSourceForm(f"Edit smoke source {name}", form, True, change_history(session, "smoke source", source_id))
