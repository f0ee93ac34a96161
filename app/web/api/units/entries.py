"""Entries of a unit besides trials: sound, power, prices, parts, claims, ratings and ozone tests.

Each call adds one entry and answers with what was stored. The services are loaded when used, because the list of units
does not need them.
"""

from typing import Annotated, Any, TypeVar

from pydantic import Field
from sqlalchemy.orm import Session

from app.services.measurements.definitions import (
    NewClaim,
    NewOzoneTest,
    NewPowerMeasurement,
    NewRating,
    NewSoundMeasurement,
)
from app.services.store.checked_values import LONGEST_NAME
from app.services.store.entry_fields import entry_from
from app.services.units.definitions import NewConsumable, NewPrice
from app.web.api.derived import answer, body
from app.web.api.shapes import LARGEST_ID, FromStore, Id, IdOrNone, OfBench, RequestBody, of_bench, problem_answers
from app.web.dependencies import SessionDep
from app.web.routers import api_router

router = api_router("units")
Stored = TypeVar("Stored", bound="StoredEntry")

Who = Annotated[str, Field(max_length=LONGEST_NAME, description="Who makes the entry; recorded in the history")]
SettingId = Annotated[
    int, Field(ge=1, le=LARGEST_ID, description="Id of the speed setting; see `settings` of the unit")
]


class StoredEntry(FromStore, OfBench):
    """The entry as it was stored, with its id."""

    id: int
    unit_id: int


class AskedEntry(RequestBody):
    who: Who = ""


@body(NewSoundMeasurement)
class AskedSoundLevel(RequestBody):
    """One reading of a sound level meter while the unit runs at the setting."""

    setting_id: SettingId


@answer(NewSoundMeasurement)
class StoredSoundLevel(StoredEntry):
    setting_id: int


@body(NewPowerMeasurement)
class AskedPowerLevel(RequestBody):
    """One reading of a power meter. Without `setting_id`: on standby."""

    setting_id: IdOrNone = None


@answer(NewPowerMeasurement)
class StoredPowerLevel(StoredEntry):
    setting_id: int | None


@body(NewPrice)
class AskedPriceEntry(AskedEntry):
    """A price of the unit, as it was seen."""


@answer(NewPrice)
class StoredPrice(StoredEntry):
    pass


@body(NewPrice)
class AskedPartPrice(RequestBody):
    """The price of one pack."""


@body(NewConsumable)
class AskedPart(AskedEntry):
    """A filter or another part that wears out, with the price of one pack."""

    price: AskedPartPrice | None = None


@answer(NewConsumable)
class StoredPart(StoredEntry):
    """The part; `price_id` is null if no price was given."""

    price_id: int | None


@body(NewClaim)
class AskedClaim(AskedEntry):
    """A maker's claim, word for word. Without `setting_id`: the claim names no setting."""


@answer(NewClaim)
class StoredClaim(StoredEntry):
    pass


@body(NewRating)
class AskedRating(AskedEntry):
    """A third party's rating, or with `listed` false that it was looked for and not found."""


@answer(NewRating, without=("value", "unit_symbol"))
class StoredRating(StoredEntry):
    """The rating as it was stated, and its rate in m³/h."""

    stated_value: float | None
    stated_unit: str
    clean_air_delivery_rate_m3_per_h: float | None


@body(NewOzoneTest)
class AskedOzoneTest(AskedEntry):
    """An ozone test. With `below_detection` the value is the detection limit of the test."""


@answer(NewOzoneTest)
class StoredOzoneTest(StoredEntry):
    pass


@router.post("/units/{unit_id}/sound-levels", status_code=201, responses=problem_answers(400, 404))
def sound_level_added(unit_id: Id, session: SessionDep, asked: AskedSoundLevel) -> StoredSoundLevel:
    """Adds a sound level of a speed setting."""
    from app.services.measurements.sound_levels import add_sound_measurement

    new = entry_from(NewSoundMeasurement, asked)
    entry_id = add_sound_measurement(session, unit_id, asked.setting_id, new, who=new.measured_by)
    return _stored(session, StoredSoundLevel, NewSoundMeasurement, unit_id, entry_id)


@router.post("/units/{unit_id}/power-levels", status_code=201, responses=problem_answers(400, 404))
def power_level_added(unit_id: Id, session: SessionDep, asked: AskedPowerLevel) -> StoredPowerLevel:
    """Adds the power at a speed setting, or on standby."""
    from app.services.measurements.power_levels import add_power_measurement

    new = entry_from(NewPowerMeasurement, asked)
    entry_id = add_power_measurement(session, unit_id, asked.setting_id, new, who=new.measured_by)
    return _stored(session, StoredPowerLevel, NewPowerMeasurement, unit_id, entry_id)


@router.post("/units/{unit_id}/prices", status_code=201, responses=problem_answers(400, 404))
def price_added(unit_id: Id, session: SessionDep, asked: AskedPriceEntry) -> StoredPrice:
    """Adds a price of the unit; earlier prices stay in its history."""
    from app.services.units.prices import add_price

    entry_id = add_price(session, unit_id, entry_from(NewPrice, asked), who=asked.who)
    return _stored(session, StoredPrice, NewPrice, unit_id, entry_id)


@router.post("/units/{unit_id}/parts", status_code=201, responses=problem_answers(400, 404, 409))
def part_added(unit_id: Id, session: SessionDep, asked: AskedPart) -> StoredPart:
    """Adds a filter or another part that wears out; 409 if the unit has a part of that name already."""
    from app.services.units.consumables import add_consumable, add_consumable_price

    entry_id = add_consumable(session, unit_id, entry_from(NewConsumable, asked), who=asked.who)
    price_id = None
    if asked.price is not None:
        price_id = add_consumable_price(session, entry_id, entry_from(NewPrice, asked.price), who=asked.who)
    return _stored(session, StoredPart, NewConsumable, unit_id, entry_id, price_id=price_id)


@router.post("/units/{unit_id}/claims", status_code=201, responses=problem_answers(400, 404))
def claim_added(unit_id: Id, session: SessionDep, asked: AskedClaim) -> StoredClaim:
    """Adds a maker's claim; whether the bench supports it is in the answer of the unit."""
    from app.services.measurements.claims import add_claim

    entry_id = add_claim(session, unit_id, entry_from(NewClaim, asked), who=asked.who)
    return _stored(session, StoredClaim, NewClaim, unit_id, entry_id)


@router.post("/units/{unit_id}/ratings", status_code=201, responses=problem_answers(400, 404))
def rating_added(unit_id: Id, session: SessionDep, asked: AskedRating) -> StoredRating:
    """Adds a third party's rating; its comparison with the measured rate is in the answer of the unit."""
    from app.services.measurements.ratings import add_rating

    entry_id = add_rating(session, unit_id, entry_from(NewRating, asked), who=asked.who)
    return _stored(session, StoredRating, NewRating, unit_id, entry_id)


@router.post("/units/{unit_id}/ozone-tests", status_code=201, responses=problem_answers(400, 404))
def ozone_test_added(unit_id: Id, session: SessionDep, asked: AskedOzoneTest) -> StoredOzoneTest:
    """Adds an ozone test. Ozone irritates the lungs; the answer of the unit has the caution and the public limits."""
    from app.services.measurements.ozone_tests import add_ozone_test

    entry_id = add_ozone_test(session, unit_id, entry_from(NewOzoneTest, asked), who=asked.who)
    return _stored(session, StoredOzoneTest, NewOzoneTest, unit_id, entry_id)


def _stored(
    session: Session, shape: type[Stored], definition: type, unit_id: int, entry_id: int, **more: Any
) -> Stored:
    from app.services.measurements.stored_entry import stored_entry

    session.flush()
    return shape.of(stored_entry(session, definition, entry_id), unit_id=unit_id, **more, **of_bench(session))
