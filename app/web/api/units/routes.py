"""Units under test, with their settings, prices and consumables."""

from datetime import datetime
from typing import Annotated, Literal

from fastapi import Query
from pydantic import Field

from app.services.store.checked_values import LONGEST_NAME, LONGEST_TEXT
from app.services.store.entry_fields import changed_entry, entry_from
from app.services.trials.trash import trash_unit, untrash_unit
from app.services.units.cursor_lists import list_units_with_parts
from app.services.units.definitions import NewConsumable, NewPrice, NewSetting, NewUnit
from app.services.units.entry import add_setting, add_unit, change_unit, get_unit
from app.services.units.prices import add_price
from app.services.units.with_parts import unit_with_parts
from app.web.api.derived import answer, body
from app.web.api.shapes import Cursor, FromStore, Id, Limit, OfBench, RequestBody, of_bench, problem_answers
from app.web.api.units.facts_shapes import UnitFactsShape, unit_facts
from app.web.dependencies import SessionDep
from app.web.routers import api_router

router = api_router("units")

CurrencyCode = Annotated[str, Field(pattern=r"^[A-Za-z]{3}$", examples=["USD"])]
Name = Annotated[str, Field(min_length=1, max_length=LONGEST_NAME)]


@answer(NewSetting)
class SettingShape(FromStore):
    """A speed setting; `position` counts from the slowest."""

    id: int
    position: int


@answer(NewPrice)
class PriceShape(FromStore):
    pass


@answer(NewConsumable)
class ConsumableShape(FromStore):
    """A consumable. Life in months, running hours, or both: whichever comes first."""

    id: int
    prices: list[PriceShape]


@answer(NewUnit)
class UnitShape(FromStore):
    """A unit under test. `consumables_state` "none needed" is a recorded fact, "unknown" is not."""

    id: int
    makes_ozone: bool
    trashed_at: datetime | None
    settings: list[SettingShape]
    prices: list[PriceShape]
    consumables: list[ConsumableShape]


class UnitInFull(UnitShape, UnitFactsShape, OfBench):
    """A unit with its measurements, ratings and claims besides trials, each value with date and source."""


class UnitList(OfBench):
    units: list[UnitShape]
    next_cursor: str | None


@body(NewSetting, without=("position",))
class AskedSetting(RequestBody):
    pass


@body(NewPrice)
class AskedPrice(RequestBody):
    currency: CurrencyCode


class AskedParts(RequestBody):
    """Further data of a new unit: settings, price."""

    consumables_state: Literal["unknown", "none needed"] = "unknown"
    settings: list[AskedSetting] = Field(default=[], max_length=50)
    price: AskedPrice | None = None
    who: Annotated[str, Field(max_length=200, description="Who makes the change; recorded in the history")] = ""


@body(NewUnit)
class AskedUnit(AskedParts):
    """A unit to add, with its settings from the slowest to the fastest and today's price."""


@body(NewUnit, change=True)
class UnitChange(AskedParts):
    """The fields to change; omitted ones do not change. `settings` and `price` are added to the existing ones.

    trashed : true moves the unit to the trash (requires `why`), false restores it
    """

    maker: Name = ""
    model: Name = ""
    trashed: bool = False
    why: Annotated[str, Field(max_length=LONGEST_TEXT)] = ""


@router.get("/units", responses=problem_answers())
def units(
    session: SessionDep,
    limit: Limit = 100,
    cursor: Cursor = None,
    search: Annotated[str, Query(max_length=200, description="Words in maker and model")] = "",
    trashed: Annotated[bool, Query(description="List units in the trash instead")] = False,
) -> UnitList:
    """Units under test in the order in which they were added; trashed ones on request."""
    part = list_units_with_parts(session, limit, cursor, search=search, trashed=trashed)
    return UnitList(
        units=[UnitShape.model_validate(unit) for unit in part.rows], next_cursor=part.next_cursor, **of_bench(session)
    )


@router.post("/units", status_code=201, responses=problem_answers(400, 409))
def unit_added(session: SessionDep, asked: AskedUnit) -> UnitInFull:
    """Adds a unit; 409 if a unit has this maker and model."""
    unit_id = add_unit(session, entry_from(NewUnit, asked), who=asked.who)
    return _with_parts(session, unit_id, asked)


@router.get("/units/{unit_id}", responses=problem_answers(404))
def unit(unit_id: Id, session: SessionDep) -> UnitInFull:
    """A unit with its sound, power, ozone, ratings and claims; its rates are in the ranking and in its trials."""
    return _in_full(session, unit_id)


@router.patch("/units/{unit_id}", responses=problem_answers(400, 404, 409))
def unit_changed(unit_id: Id, session: SessionDep, asked: UnitChange) -> UnitInFull:
    """Changes the given fields; each change is recorded with who, when, why and the old value."""
    changed = asked.model_dump(exclude_unset=True, exclude={"settings", "price", "trashed", "who", "why"})
    entry_from(NewUnit, changed_entry(NewUnit, get_unit(session, unit_id), changed, "A unit"))
    unit = change_unit(session, unit_id, changed, who=asked.who, why=asked.why)
    if "trashed" in asked.model_fields_set and asked.trashed != (unit.trashed_at is not None):
        put = trash_unit if asked.trashed else untrash_unit
        put(session, unit_id, who=asked.who, why=asked.why)
    return _with_parts(session, unit_id, asked)


def _with_parts(session: SessionDep, unit_id: int, asked: AskedParts) -> UnitInFull:
    for setting in asked.settings:
        add_setting(session, unit_id, NewSetting(**setting.model_dump()), who=asked.who)
    if asked.price is not None:
        add_price(session, unit_id, NewPrice(**asked.price.model_dump()), who=asked.who)
    session.flush()
    return _in_full(session, unit_id)


def _in_full(session: SessionDep, unit_id: int) -> UnitInFull:
    shape = UnitShape.model_validate(unit_with_parts(session, unit_id))
    facts = unit_facts(session, unit_id)
    return UnitInFull(**dict(shape), **dict(facts), **of_bench(session))
