"""Storing one row of a bulk table of ratings, claims, sound, power or ozone."""

from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.errors import AlreadyStored, InvalidValue
from app.services.bulk.columns import BulkRow
from app.services.measurements.claims import add_claim
from app.services.measurements.definitions import (
    NewClaim,
    NewOzoneTest,
    NewPowerMeasurement,
    NewRating,
    NewSoundMeasurement,
)
from app.services.measurements.ozone_tests import add_ozone_test
from app.services.measurements.power_levels import STANDBY, add_power_measurement
from app.services.measurements.ratings import add_rating
from app.services.measurements.sound_levels import add_sound_measurement
from app.services.units.entry import find_setting, find_unit
from app.storage.models.bench_measurements import OzoneTest, PowerMeasurement, SoundMeasurement
from app.storage.models.ratings_and_claims import Claim, Rating


def add_rating_row(session: Session, row: BulkRow, who: str) -> str:
    unit_id, new = unit_of(session, row), row.entry(NewRating)
    refuse_second(
        session,
        Rating,
        "rating of that date",
        unit_under_test_id=unit_id,
        **_same(new, "aerosol", "seen_on", "source", "sister_model"),
        stated_value=new.value,
        stated_unit=new.unit_symbol.strip() if new.listed else "",
    )
    add_rating(session, unit_id, new, who=who)
    return f"adds a {new.aerosol} rating to {row.text('model')}"


def add_claim_row(session: Session, row: BulkRow, who: str) -> str:
    unit_id = unit_of(session, row)
    setting_id = _setting(session, unit_id, row) if "setting" in row.cells else None
    new = row.entry(NewClaim, setting_id=setting_id)
    refuse_second(
        session,
        Claim,
        "claim of that date",
        unit_under_test_id=unit_id,
        **_same(new, "quantity", "value", "seen_on"),
        unit_symbol=new.unit_symbol.strip(),
        wording=" ".join(new.wording.split()),
    )
    add_claim(session, unit_id, new, who=who)
    return f"adds a claim on {new.quantity.replace('_', ' ')} to {row.text('model')}"


def add_sound_row(session: Session, row: BulkRow, who: str) -> str:
    unit_id = unit_of(session, row)
    setting_id, new = _setting(session, unit_id, row), row.entry(NewSoundMeasurement)
    same = _same(new, "level_dba", "distance_m", "measured_on", "position", "notes")
    refuse_second(
        session, SoundMeasurement, "sound level of that date and position", True, setting_id=setting_id, **same
    )
    add_sound_measurement(session, unit_id, setting_id, new, who=who)
    return f"adds {new.level_dba:g} dB(A) at {row.text('setting')} to {row.text('model')}"


def add_power_row(session: Session, row: BulkRow, who: str) -> str:
    unit_id = unit_of(session, row)
    setting_id = None if row.text("setting").casefold() == STANDBY else _setting(session, unit_id, row)
    new = row.entry(NewPowerMeasurement)
    same = {"unit_under_test_id": unit_id, "setting_id": setting_id} | _same(new, "power_w", "measured_on", "notes")
    refuse_second(session, PowerMeasurement, "power of that date", True, **same)
    add_power_measurement(session, unit_id, setting_id, new, who=who)
    return f"adds {new.power_w:g} W at {row.text('setting')} to {row.text('model')}"


def add_ozone_row(session: Session, row: BulkRow, who: str) -> str:
    unit_id, new = unit_of(session, row), row.entry(NewOzoneTest)
    same = _same(new, "ozone_ppb", "tested_on")
    refuse_second(session, OzoneTest, "ozone test of that date", unit_under_test_id=unit_id, **same)
    add_ozone_test(session, unit_id, new, who=who)
    return f"adds an ozone test of {new.ozone_ppb:g} ppb to {row.text('model')}"


def is_stored(session: Session, table: Any, **values: Any) -> bool:
    """Whether a row with these values is there already."""
    return session.scalar(select(table.id).filter_by(**values).limit(1)) is not None


def refuse_second(session: Session, table: Any, what: str, may_repeat: bool = False, **values: Any) -> None:
    """Raises AlreadyStored where a row with these values is there already."""
    if is_stored(session, table, **values):
        hint = "; a repeat needs different notes" if may_repeat else ""
        raise AlreadyStored(f"This {what} is already saved{hint}.")


def _same(new: object, *names: str) -> dict[str, Any]:
    return {name: getattr(new, name) for name in names}


def unit_of(session: Session, row: BulkRow) -> int:
    """The unit named in the row. Raises InvalidValue if it is not on the bench."""
    found = find_unit(session, row.text("maker"), row.text("model"))
    if found is None:
        raise InvalidValue(
            f"{row.text('maker')} {row.text('model')} does not exist. Add it first, with a table of units or the form.",
            field="model",
        )
    return found


def _setting(session: Session, unit_id: int, row: BulkRow) -> int:
    found = find_setting(session, unit_id, row.text("setting"))
    if found is None:
        raise InvalidValue(
            f"{row.text('model')} has no setting {row.text('setting')!r}. Add it first, with a table of settings or "
            "the form.",
            field="setting",
        )
    return found
