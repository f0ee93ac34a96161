"""Form to add or edit a unit under test: details, settings, prices and consumables.

Empty sections are skipped, so that maker and model alone are enough for a unit.
"""

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from typing import Any

from sqlalchemy.orm import Session
from starlette.responses import RedirectResponse, Response

from app.services.bench.choices import bench_choices
from app.services.history.change_history import DescribedChange, change_history
from app.services.units.definitions import USUAL_KIND
from app.services.units.entry import SUBJECT, add_unit, change_unit
from app.services.units.with_parts import unit_with_parts
from app.web.api.shapes import Id
from app.web.dependencies import RenderDep, SessionDep
from app.web.forms.typed_form import TypedForm, TypedFormDep, empty_form
from app.web.pages.units.fields import form_of_unit, save_parts, typed_unit
from app.web.routers import page_router
from app.web.templating.page_context import Choice

router = page_router()


@dataclass(frozen=True, slots=True)
class UnitForm:
    """`unit` is the stored unit, None for a new one."""

    title: str
    form: TypedForm
    unit: Any = None
    highest_choices: Sequence[Choice] = ()
    consumable_choices: Sequence[Choice] = ()
    changes: Sequence[DescribedChange] = ()


@router.get("/units/add")
def unit_to_add(session: SessionDep, render: RenderDep) -> Response:
    currency, today = bench_choices(session).currency, datetime.now(UTC).date()
    form = empty_form(
        kind_of_cleaning=USUAL_KIND,
        currency=currency,
        consumable_currency=currency,
        price_seen_on=today,
        consumable_price_seen_on=today,
    )
    return render("pages/units/form.html", _adding(form))


@router.post("/units/add")
def unit_added(session: SessionDep, render: RenderDep, form: TypedFormDep) -> Response:
    typed = typed_unit(form)
    if form.is_good and typed.unit is not None:
        with form.attempt(session):
            unit_id = add_unit(session, typed.unit, who=form.text("who"))
            save_parts(session, unit_id, form, typed, form.text("who"))
            form.stop_if_errors()
            return RedirectResponse(f"/units/{unit_id}", 303)
    return render("pages/units/form.html", _adding(form), status_code=422)


@router.get("/units/{unit_id}/edit")
def unit_to_change(unit_id: Id, session: SessionDep, render: RenderDep) -> Response:
    form = form_of_unit(session, unit_id, bench_choices(session).currency)
    return render("pages/units/form.html", page_of_change(session, unit_id, form))


@router.post("/units/{unit_id}/edit")
def unit_changed(unit_id: Id, session: SessionDep, render: RenderDep, form: TypedFormDep) -> Response:
    state = unit_with_parts(session, unit_id).consumables_state
    typed = typed_unit(form, _state_after(state, form))
    if form.is_good and typed.unit is not None:
        with form.attempt(session):
            change_unit(session, unit_id, asdict(typed.unit), who=form.text("who"), why=form.text("why"))
            save_parts(session, unit_id, form, typed, form.text("who"))
            form.stop_if_errors()
            return RedirectResponse(f"/units/{unit_id}", 303)
    return render("pages/units/form.html", page_of_change(session, unit_id, form), status_code=422)


def _state_after(state: str, form: TypedForm) -> str:
    """Removing the tick makes "none needed" unknown again; everything else follows from the section itself."""
    return "unknown" if state == "none needed" and not form.ticked("none_needed") else state


def _adding(form: TypedForm) -> UnitForm:
    return UnitForm("Add a unit", form)


def page_of_change(session: Session, unit_id: int, form: TypedForm) -> UnitForm:
    unit = unit_with_parts(session, unit_id)
    highest = form.typed("highest_setting")
    consumable = form.typed("consumable_id")
    return UnitForm(
        title=f"Change {unit.maker} {unit.model}",
        form=form,
        unit=unit,
        highest_choices=(
            *(Choice(str(s.id), s.name, str(s.id) == highest) for s in unit.settings),
            Choice("last", "the last new one", highest == "last"),
        ),
        consumable_choices=(
            Choice("", "the new one above", not consumable),
            *(Choice(str(c.id), c.name, str(c.id) == consumable) for c in unit.consumables),
        ),
        changes=change_history(session, SUBJECT, unit_id),
    )
