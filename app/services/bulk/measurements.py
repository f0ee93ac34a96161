"""Storing one row of a bulk table of ratings, claims, sound, power or ozone."""

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.errors import AlreadyStored, InvalidValue
from app.services.bulk.columns import BulkRow
from app.services.measurements.claims import NewClaim, add_claim
from app.services.measurements.ozone_tests import add_ozone_test
from app.services.measurements.power_levels import STANDBY, NewPowerMeasurement, add_power_measurement
from app.services.measurements.ratings import NewRating, add_rating
from app.services.measurements.sound_levels import NewSoundMeasurement, add_sound_measurement
from app.services.units.entry import find_setting, find_unit
from app.storage.models.bench_measurements import OzoneTest, PowerMeasurement, SoundMeasurement
from app.storage.models.ratings_and_claims import Claim, Rating


def add_rating_row(session: Session, row: BulkRow, who: str) -> str:
    unit_id = unit_of(session, row)
    new = NewRating(
        aerosol=row.text("aerosol").casefold(),
        listed=row.yes("listed", default=True),
        value=row.number("value"),
        unit_symbol=row.text("unit", "ft³/min"),
        sister_model=row.text("sister_model"),
        test_standard=row.text("test_standard"),
        edition=row.text("edition"),
        source=row.text("source"),
        seen_on=row.day("seen_on"),
    )
    same = select(Rating.id).where(
        Rating.unit_under_test_id == unit_id,
        Rating.aerosol == new.aerosol,
        Rating.seen_on == new.seen_on,
        Rating.source == new.source,
        Rating.sister_model == new.sister_model,
        Rating.stated_value == new.value,
        Rating.stated_unit == (new.unit_symbol.strip() if new.listed else ""),
    )
    if session.scalar(same.limit(1)):
        raise AlreadyStored("This rating of that day is stored already.")
    add_rating(session, unit_id, new, who=who)
    return f"adds a {new.aerosol} rating to {row.text('model')}"


def add_claim_row(session: Session, row: BulkRow, who: str) -> str:
    unit_id = unit_of(session, row)
    new = NewClaim(
        quantity=row.text("quantity"),
        wording=row.text("wording"),
        value=row.number("value"),
        unit_symbol=row.text("unit"),
        bound=row.text("bound", "about"),
        setting_id=_setting(session, unit_id, row) if "setting" in row.cells else None,
        aerosol=row.text("aerosol").casefold(),
        distance_m=row.number("distance_m"),
        room_area_m2=row.number("room_area_m2"),
        where_seen=row.text("where_seen"),
        seen_on=row.day("seen_on"),
    )
    same = select(Claim.id).where(
        Claim.unit_under_test_id == unit_id,
        Claim.quantity == new.quantity,
        Claim.value == new.value,
        Claim.unit_symbol == new.unit_symbol.strip(),
        Claim.wording == " ".join(new.wording.split()),
        Claim.seen_on == new.seen_on,
    )
    if session.scalar(same.limit(1)):
        raise AlreadyStored("This claim of that day is stored already.")
    add_claim(session, unit_id, new, who=who)
    return f"adds a claim on {new.quantity.replace('_', ' ')} to {row.text('model')}"


def add_sound_row(session: Session, row: BulkRow, who: str) -> str:
    unit_id = unit_of(session, row)
    setting_id = _setting(session, unit_id, row)
    new = NewSoundMeasurement(
        level_dba=row.number("sound_dba"),
        background_dba=row.number("background_dba"),
        distance_m=row.number("distance_m"),
        position=row.text("position", "front"),
        environment=row.text("environment", "indoor").casefold(),
        instrument=row.text("instrument"),
        instrument_class=row.text("instrument_class"),
        measured_on=row.day("measured_on"),
        measured_by=row.text("measured_by"),
        notes=row.text("notes"),
    )
    same = select(SoundMeasurement.id).where(
        SoundMeasurement.setting_id == setting_id,
        SoundMeasurement.level_dba == new.level_dba,
        SoundMeasurement.distance_m == new.distance_m,
        SoundMeasurement.measured_on == new.measured_on,
        SoundMeasurement.position == new.position,
        SoundMeasurement.notes == new.notes,
    )
    if session.scalar(same.limit(1)):
        raise AlreadyStored("This sound level of that day and place is stored already; a repeat needs other notes.")
    add_sound_measurement(session, unit_id, setting_id, new, who=who)
    return f"adds {new.level_dba:g} dB(A) at {row.text('setting')} to {row.text('model')}"


def add_power_row(session: Session, row: BulkRow, who: str) -> str:
    unit_id = unit_of(session, row)
    standby = row.text("setting").casefold() == STANDBY
    setting_id = None if standby else _setting(session, unit_id, row)
    new = NewPowerMeasurement(
        power_w=row.number("power_w"),
        uncertainty_w=0.0 if (known := row.number("uncertainty_w")) is None else known,
        instrument=row.text("instrument"),
        measured_on=row.day("measured_on"),
        measured_by=row.text("measured_by"),
        notes=row.text("notes"),
    )
    same = select(PowerMeasurement.id).where(
        PowerMeasurement.unit_under_test_id == unit_id,
        PowerMeasurement.setting_id.is_(None) if standby else PowerMeasurement.setting_id == setting_id,
        PowerMeasurement.power_w == new.power_w,
        PowerMeasurement.measured_on == new.measured_on,
        PowerMeasurement.notes == new.notes,
    )
    if session.scalar(same.limit(1)):
        raise AlreadyStored("This power of that day is stored already; a repeat needs other notes.")
    add_power_measurement(session, unit_id, setting_id, new, who=who)
    return f"adds {new.power_w:g} W at {row.text('setting')} to {row.text('model')}"


def add_ozone_row(session: Session, row: BulkRow, who: str) -> str:
    unit_id = unit_of(session, row)
    value, day = row.number("ozone_ppb"), row.day("tested_on")
    same = select(OzoneTest.id).where(
        OzoneTest.unit_under_test_id == unit_id, OzoneTest.ozone_ppb == value, OzoneTest.tested_on == day
    )
    if session.scalar(same.limit(1)):
        raise AlreadyStored("This ozone test of that day is stored already.")
    add_ozone_test(
        session,
        unit_id,
        value,
        day,
        below_detection=row.yes("below_detection"),
        method=row.text("method"),
        source=row.text("source"),
        who=who,
    )
    return f"adds an ozone test of {value:g} ppb to {row.text('model')}"


def unit_of(session: Session, row: BulkRow) -> int:
    """The unit named in the row. Raises InvalidValue if it is not on the bench."""
    found = find_unit(session, row.text("maker"), row.text("model"))
    if found is None:
        raise InvalidValue(
            f"{row.text('maker')} {row.text('model')} is not on the bench. Add it first, by a table of units or a "
            "form.",
            field="model",
        )
    return found


def _setting(session: Session, unit_id: int, row: BulkRow) -> int:
    found = find_setting(session, unit_id, row.text("setting"))
    if found is None:
        raise InvalidValue(
            f"{row.text('model')} has no setting {row.text('setting')!r}. Add it first, by a table of settings or a "
            "form.",
            field="setting",
        )
    return found
