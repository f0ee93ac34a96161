"""Sound levels of settings, as two of them are compared: what one meter does to both of them cancels."""

import math
from collections import defaultdict
from collections.abc import Collection
from dataclasses import dataclass

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.compute.sound.level import SoundLevel, sound_level
from app.compute.sound.uncertainty import meter_uncertainty_db
from app.compute.sound.unit_sound import SoundReading
from app.compute.statistics.measured import Measured
from app.storage.models.bench_measurements import SoundMeasurement

# What setting up unit and meter anew changes, where repeats do not show it; common practice, no source. [dB]
SET_UP_DB = 0.5


@dataclass(frozen=True, slots=True)
class ComparableSound:
    """Level of one setting at the standard distance.

    level : with its whole uncertainty [dB(A)]
    meter : the one known meter that read it; None where that is not known or where there were several
    of_meter_db : what that meter's error adds to `without_meter`; 0 where `without_meter` is as uncertain as the whole
    without_meter : the same level without the part that comes from the meter, at least that of setting up
    instruments : meters that it was read on; an empty name is a meter that is not known
    """

    level: SoundLevel
    without_meter: Measured
    instruments: frozenset[str]

    @property
    def meter(self) -> str | None:
        return next(iter(self.instruments)) if len(self.instruments) == 1 and "" not in self.instruments else None

    @property
    def of_meter_db(self) -> float:
        return math.sqrt(max(0.0, self.level.level_dba.uncertainty**2 - self.without_meter.uncertainty**2))


def read_comparable_sound(
    session: Session, setting_ids: Collection[int], *, standard_distance_m: float, rule: str
) -> dict[int, ComparableSound]:
    """Setting id to its level; a setting without a measurement is not in it."""
    rows: dict[int, list[SoundMeasurement]] = defaultdict(list)
    for row in session.scalars(
        select(SoundMeasurement)
        .where(SoundMeasurement.setting_id.in_(setting_ids))
        .order_by(SoundMeasurement.setting_id, SoundMeasurement.id)
    ):
        rows[row.setting_id].append(row)
    return {setting_id: _comparable(found, standard_distance_m, rule) for setting_id, found in rows.items()}


def levels_to_compare(one: ComparableSound, other: ComparableSound) -> tuple[Measured, Measured]:
    """The two levels as their difference sees them: without the meter's part where one and the same meter read both."""
    if one.meter is not None and one.meter == other.meter:
        return one.without_meter, other.without_meter
    return one.level.level_dba, other.level.level_dba


def _comparable(rows: list[SoundMeasurement], standard_distance_m: float, rule: str) -> ComparableSound:
    readings = tuple(
        SoundReading(r.level_dba, r.background_dba, r.distance_m, r.environment == "indoor", r.instrument_class)
        for r in rows
    )
    level = sound_level(readings, standard_distance_m, rule)
    whole = level.level_dba
    of_meter = max(meter_uncertainty_db(reading.instrument_class) for reading in readings)
    rest = math.sqrt(max(0.0, whole.uncertainty**2 - of_meter**2))
    return ComparableSound(
        level=level,
        # repeats that agree by chance leave nothing, which setting up does not
        without_meter=Measured(whole.value, max(rest, SET_UP_DB)),
        instruments=frozenset(row.instrument.strip() for row in rows),
    )
