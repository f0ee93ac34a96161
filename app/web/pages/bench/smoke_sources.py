"""Smoke sources: the list, and the form that adds or changes one."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from fastapi import APIRouter
from starlette.responses import RedirectResponse, Response

from app.services.bench.rooms import AEROSOLS, add_smoke_source
from app.services.bench.smoke_sources import change_smoke_source, get_smoke_source
from app.services.history.change_history import change_history
from app.services.units.lists import list_smoke_sources
from app.web.dependencies import RenderDep, SessionDep
from app.web.forms.typed_form import TypedForm, TypedFormDep, empty_form
from app.web.templating.page_context import Choice

router = APIRouter()


@dataclass(frozen=True, slots=True)
class SmokeSourceList:
    sources: Sequence[Any]


@dataclass(frozen=True, slots=True)
class SmokeSourceForm:
    title: str
    form: TypedForm
    aerosols: Sequence[Choice]
    is_change: bool = False
    changes: Sequence[Any] = ()


@router.get("/smoke-sources")
def smoke_sources(session: SessionDep, render: RenderDep) -> Response:
    return render("pages/bench/smoke_sources.html", SmokeSourceList(list_smoke_sources(session).rows))


@router.get("/smoke-sources/add")
def smoke_source_to_add(render: RenderDep) -> Response:
    return render("pages/bench/smoke_source_form.html", _adding(empty_form()))


@router.post("/smoke-sources/add")
def smoke_source_added(session: SessionDep, render: RenderDep, form: TypedFormDep) -> Response:
    name, aerosol, notes = form.text("smoke_source"), form.typed("aerosol", "smoke"), form.text("smoke_source_notes")
    with form.attempt(session):
        add_smoke_source(session, name, aerosol, notes, who=form.text("who"))
        return RedirectResponse("/smoke-sources", 303)
    return render("pages/bench/smoke_source_form.html", _adding(form), status_code=422)


@router.get("/smoke-sources/{source_id}/edit")
def smoke_source_to_change(source_id: int, session: SessionDep, render: RenderDep) -> Response:
    source = get_smoke_source(session, source_id)
    form = empty_form(smoke_source=source.name, aerosol=source.aerosol, smoke_source_notes=source.notes)
    return render("pages/bench/smoke_source_form.html", _changing(session, source.name, source_id, form))


@router.post("/smoke-sources/{source_id}/edit")
def smoke_source_changed(source_id: int, session: SessionDep, render: RenderDep, form: TypedFormDep) -> Response:
    before = get_smoke_source(session, source_id).name
    name, aerosol, notes = form.text("smoke_source"), form.typed("aerosol", "smoke"), form.text("smoke_source_notes")
    with form.attempt(session):
        change_smoke_source(session, source_id, name, aerosol, notes, who=form.text("who"))
        return RedirectResponse("/smoke-sources", 303)
    return render("pages/bench/smoke_source_form.html", _changing(session, before, source_id, form), status_code=422)


def aerosol_choices(form: TypedForm) -> tuple[Choice, ...]:
    chosen = form.typed("aerosol", "smoke")
    return tuple(Choice(aerosol, aerosol, aerosol == chosen) for aerosol in AEROSOLS)


def _adding(form: TypedForm) -> SmokeSourceForm:
    return SmokeSourceForm("Add a smoke source", form, aerosol_choices(form))


def _changing(session: SessionDep, name: str, source_id: int, form: TypedForm) -> SmokeSourceForm:
    changes = change_history(session, "smoke source", source_id)
    return SmokeSourceForm(f"Change the smoke source {name}", form, aerosol_choices(form), True, changes)
