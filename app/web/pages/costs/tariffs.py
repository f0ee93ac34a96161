"""Electricity tariffs by region and date: list, new tariff, import of the reference table."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime

from fastapi import Request
from sqlalchemy.orm import Session
from starlette.responses import RedirectResponse, Response

from app.compute.wording.numbers import counted
from app.services.bench.choices import bench_choices, use_tariff_if_none
from app.services.bench.definitions import NewTariff
from app.services.bench.reference_tariffs import bring_in_reference_tariffs
from app.services.bench.tariffs import SUBJECT, add_tariff
from app.services.costs.choices import AvailableTariff, tariffs_of_bench
from app.services.history.change_history import ChangeFilter, DescribedChange, described_changes
from app.web.dependencies import RenderDep, SessionDep
from app.web.forms.addresses import query_form
from app.web.forms.typed_form import TypedForm, TypedFormDep, empty_form
from app.web.routers import page_router

router = page_router()
PATH = "/tariffs"


@dataclass(frozen=True, slots=True)
class TariffsPage:
    """`chosen_id` is the bench's tariff, `done` a message on what was stored, `changes` the latest of all tariffs."""

    title: str
    form: TypedForm
    tariffs: Sequence[AvailableTariff]
    chosen_id: int | None
    done: str
    changes: Sequence[DescribedChange]


@router.get(PATH)
def tariffs(request: Request, session: SessionDep, render: RenderDep) -> Response:
    query = query_form(request.query_params)
    form = empty_form(currency=bench_choices(session).currency, valid_from=datetime.now(UTC).date())
    return render("pages/costs/tariffs.html", _page(session, form, _done(query)))


@router.post(PATH)
def tariff_added(session: SessionDep, render: RenderDep, form: TypedFormDep) -> Response:
    new = form.entry(NewTariff)
    if new is not None:
        with form.attempt(session):
            tariff_id = add_tariff(session, new, who=form.text("who"))
            use_tariff_if_none(session, tariff_id, who=form.text("who"))
            return RedirectResponse(f"{PATH}?added=1", 303)
    return render("pages/costs/tariffs.html", _page(session, form), status_code=422)


@router.post("/tariffs/reference")
def reference_brought_in(session: SessionDep, form: TypedFormDep) -> Response:
    added = bring_in_reference_tariffs(session, who=form.text("who"))
    return RedirectResponse(f"{PATH}?added={added}", 303)


def _page(session: Session, form: TypedForm, done: str = "") -> TariffsPage:
    return TariffsPage(
        title="Tariffs",
        form=form,
        tariffs=tariffs_of_bench(session),
        chosen_id=bench_choices(session).tariff_id,
        done=done,
        changes=described_changes(session, wanted=ChangeFilter(subject=SUBJECT)).rows,
    )


def _done(query: TypedForm) -> str:
    added = query.whole_number("added", "added")
    if added is None or not query.is_good:
        return ""
    return f"{counted(added, 'tariff')} added." if added > 0 else "All tariffs of the reference table already exist."
