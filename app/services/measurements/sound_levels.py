"""Sound measurements of a unit, and its level at each setting at the bench's standard distance."""

from collections.abc import Sequence
from dataclasses import dataclass

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.compute.sound.level import SoundLevel, sound_level
from app.compute.sound.unit_sound import SoundReading
from app.errors import NotFound
from app.services.bench.choices import bench_choices
from app.services.measurements.definitions import NewSoundMeasurement
from app.services.measurements.delete_entry import delete_entry
from app.services.store.audit import AT_THE_DESK, record_change
from app.services.store.entry_fields import checked_entry
from app.services.units.entry import SUBJECT
from app.services.units.speed_settings import setting_of_unit, settings_of
from app.storage.models.bench_measurements import SoundMeasurement
from app.storage.models.units_under_test import SpeedSetting


@dataclass(frozen=True, slots=True)
class SettingLevel:
    """A setting with its readings and their result; `level` is None without a measurement."""

    setting: SpeedSetting
    measurements: tuple[SoundMeasurement, ...]
    level: SoundLevel | None


def add_sound_measurement(
    session: Session, unit_id: int, setting_id: int, new: NewSoundMeasurement, *, who: str = AT_THE_DESK
) -> int:
    """Adds a reading and returns its id."""
    setting = setting_of_unit(session, unit_id, setting_id)
    row = SoundMeasurement(unit_under_test_id=unit_id, setting_id=setting_id, **checked_entry(new))
    session.add(row)
    session.flush()
    record_change(session, who, "added", SUBJECT, unit_id, "sound level", None, _words(row, setting.name))
    return row.id


def delete_sound_measurement(session: Session, measurement_id: int, *, who: str = AT_THE_DESK, why: str) -> None:
    """Deletes a reading; the record of changes keeps its content."""
    row = session.get(SoundMeasurement, measurement_id)
    if row is None:
        raise NotFound("sound measurement", measurement_id)
    setting = setting_of_unit(session, row.unit_under_test_id, row.setting_id)
    delete_entry(session, row, "sound level", _words(row, setting.name), who=who, why=why)


def sound_levels_of_unit(
    session: Session, unit_id: int, settings: Sequence[SpeedSetting] | None = None
) -> tuple[SettingLevel, ...]:
    """Every setting of a unit, from the slowest, with its readings and its level at the standard distance.

    settings : those of the unit; they are read if they are not given
    """
    choices = bench_choices(session)
    rows: dict[int, list[SoundMeasurement]] = {}
    for row in session.scalars(
        select(SoundMeasurement)
        .where(SoundMeasurement.unit_under_test_id == unit_id)
        .order_by(SoundMeasurement.measured_on, SoundMeasurement.id)
    ):
        rows.setdefault(row.setting_id, []).append(row)
    return tuple(
        SettingLevel(
            setting,
            tuple(found := rows.get(setting.id, [])),
            sound_level(
                tuple(_reading(row) for row in found), choices.standard_distance_m, choices.sound_correction_rule
            )
            if found
            else None,
        )
        for setting in settings or settings_of(session, unit_id)
    )


def _reading(row: SoundMeasurement) -> SoundReading:
    return SoundReading(
        row.level_dba, row.background_dba, row.distance_m, row.environment == "indoor", row.instrument_class
    )


def _words(row: SoundMeasurement, setting: str) -> str:
    room = "background not measured" if row.background_dba is None else f"room {row.background_dba:g}"
    return f"{setting}, {row.level_dba:g} dB(A) at {row.distance_m:g} m, {room}, on {row.measured_on.isoformat()}"
