"""What others say of a unit: certified rates and the maker's claims; adding one, taking a wrong one back."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime

from fastapi import APIRouter
from sqlalchemy.orm import Session
from starlette.responses import RedirectResponse, Response

from app.compute.clean_air.claim_quantities import QUANTITIES
from app.services.measurements.claims import AEROSOLS as CLAIM_AEROSOLS
from app.services.measurements.claims import BOUNDS, NewClaim, add_claim, claims_of_unit, delete_claim
from app.services.measurements.ratings import AEROSOLS, NewRating, add_rating, delete_rating, ratings_of_unit
from app.services.units.entry import get_unit
from app.services.units.speed_settings import settings_of
from app.web.api.shapes import Id
from app.web.dependencies import RenderDep, SessionDep
from app.web.forms.options import plain_choices
from app.web.forms.typed_form import TypedForm, TypedFormDep, empty_form
from app.web.templating.page_context import Choice

router = APIRouter()
_RATE_UNITS = ("ft³/min", "m³/h", "L/s")
_ANY_AEROSOL = {"": "not named"}


@dataclass(frozen=True, slots=True)
class StatementRow:
    """One entry, cell by cell, and its id for taking it back."""

    id: int
    cells: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class RatingsPage:
    unit_id: int
    name: str
    form: TypedForm
    aerosols: Sequence[Choice]
    units: Sequence[Choice]
    rows: Sequence[StatementRow]
    what: str = "ratings"


@dataclass(frozen=True, slots=True)
class ClaimsPage:
    unit_id: int
    name: str
    form: TypedForm
    quantities: Sequence[Choice]
    bounds: Sequence[Choice]
    aerosols: Sequence[Choice]
    settings: Sequence[Choice]
    units_known: Sequence[str]
    rows: Sequence[StatementRow]
    what: str = "claims"


@router.get("/units/{unit_id}/ratings")
def ratings(unit_id: Id, session: SessionDep, render: RenderDep) -> Response:
    form = empty_form(rating_seen_on=datetime.now(UTC).date())
    return render("pages/units/ratings.html", _ratings_page(session, unit_id, form))


@router.post("/units/{unit_id}/ratings")
def rating_added(unit_id: Id, session: SessionDep, render: RenderDep, form: TypedFormDep) -> Response:
    new = NewRating(
        aerosol=form.typed("aerosol", "smoke"),
        listed=not form.ticked("not_listed"),
        value=form.number("rating_value", "The rate"),
        unit_symbol=form.typed("rating_unit", _RATE_UNITS[0]),
        sister_model=form.text("sister_model"),
        test_standard=form.text("test_standard"),
        edition=form.text("edition"),
        source=form.text("rating_source"),
        seen_on=form.day("rating_seen_on", "The day on which it was seen"),
    )
    if form.is_good:
        with form.attempt(session):
            add_rating(session, unit_id, new, who=form.text("who"))
            return RedirectResponse(f"/units/{unit_id}/ratings", 303)
    return render("pages/units/ratings.html", _ratings_page(session, unit_id, form), status_code=422)


@router.post("/units/{unit_id}/ratings/{rating_id}/take-back")
def rating_deleted(unit_id: Id, rating_id: Id, session: SessionDep, render: RenderDep, form: TypedFormDep) -> Response:
    with form.attempt(session):
        delete_rating(session, rating_id, who=form.text("who"), why=form.text("why"))
        return RedirectResponse(f"/units/{unit_id}/ratings", 303)
    return render("pages/units/ratings.html", _ratings_page(session, unit_id, form), status_code=422)


@router.get("/units/{unit_id}/claims")
def claims(unit_id: Id, session: SessionDep, render: RenderDep) -> Response:
    form = empty_form(claim_seen_on=datetime.now(UTC).date())
    return render("pages/units/claims.html", _claims_page(session, unit_id, form))


@router.post("/units/{unit_id}/claims")
def claim_added(unit_id: Id, session: SessionDep, render: RenderDep, form: TypedFormDep) -> Response:
    new = NewClaim(
        quantity=form.typed("quantity"),
        wording=form.text("wording"),
        value=form.number("claim_value", "The claim"),
        unit_symbol=form.text("claim_unit"),
        bound=form.typed("bound", "about"),
        setting_id=form.whole_number("setting", "The setting"),
        aerosol=form.typed("aerosol"),
        distance_m=form.number("distance_m", "The distance"),
        room_area_m2=form.number("room_area_m2", "The floor of the room"),
        where_seen=form.text("where_seen"),
        seen_on=form.day("claim_seen_on", "The day on which it was seen"),
    )
    if form.is_good:
        with form.attempt(session):
            add_claim(session, unit_id, new, who=form.text("who"))
            return RedirectResponse(f"/units/{unit_id}/claims", 303)
    return render("pages/units/claims.html", _claims_page(session, unit_id, form), status_code=422)


@router.post("/units/{unit_id}/claims/{claim_id}/take-back")
def claim_deleted(unit_id: Id, claim_id: Id, session: SessionDep, render: RenderDep, form: TypedFormDep) -> Response:
    with form.attempt(session):
        delete_claim(session, claim_id, who=form.text("who"), why=form.text("why"))
        return RedirectResponse(f"/units/{unit_id}/claims", 303)
    return render("pages/units/claims.html", _claims_page(session, unit_id, form), status_code=422)


def _ratings_page(session: Session, unit_id: int, form: TypedForm) -> RatingsPage:
    unit = get_unit(session, unit_id)
    rows = []
    for entry in ratings_of_unit(session, unit_id):
        rating = entry.rating
        stated = f"{rating.stated_value:g} {rating.stated_unit}" if rating.listed else "not listed"
        standard = " ".join(part for part in (rating.test_standard, rating.edition) if part)
        rows.append(
            StatementRow(
                rating.id,
                (
                    rating.aerosol,
                    stated,
                    rating.sister_model or "this unit",
                    standard or "not told",
                    rating.source,
                    rating.seen_on.isoformat(),
                    entry.comparison.sentence,
                ),
            )
        )
    return RatingsPage(
        unit_id,
        f"{unit.maker} {unit.model}",
        form,
        plain_choices(AEROSOLS, form.typed("aerosol", "smoke")),
        plain_choices(_RATE_UNITS, form.typed("rating_unit", _RATE_UNITS[0])),
        rows,
    )


def _claims_page(session: Session, unit_id: int, form: TypedForm) -> ClaimsPage:
    unit = get_unit(session, unit_id)
    settings = settings_of(session, unit_id)
    names = {setting.id: setting.name for setting in settings}
    rows = []
    for entry in claims_of_unit(session, unit_id):
        claim = entry.claim
        value = "–" if claim.value is None else f"{claim.bound} {claim.value:g} {claim.unit_symbol}"
        setting = "not named" if claim.setting_id is None else names.get(claim.setting_id, "not named")
        rows.append(
            StatementRow(
                claim.id,
                (
                    f"“{claim.wording}”",
                    f"{entry.quantity_words}: {value}",
                    setting,
                    claim.where_seen or "not told",
                    claim.seen_on.isoformat(),
                    " ".join((entry.check.sentence, *entry.check.cautions)),
                ),
            )
        )
    words = {name: quantity.words for name, quantity in QUANTITIES.items()}
    setting_names = {"": "not named"} | {str(setting.id): setting.name for setting in settings}
    return ClaimsPage(
        unit_id,
        f"{unit.maker} {unit.model}",
        form,
        plain_choices(tuple(QUANTITIES), form.typed("quantity"), words),
        plain_choices(BOUNDS, form.typed("bound", "about")),
        plain_choices(CLAIM_AEROSOLS, form.typed("aerosol"), _ANY_AEROSOL),
        plain_choices(tuple(setting_names), form.typed("setting"), setting_names),
        sorted({symbol for quantity in QUANTITIES.values() for symbol in quantity.factors if symbol}),
        rows,
    )
