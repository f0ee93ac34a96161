"""Sound levels of settings for comparison: an error of a shared meter cancels."""

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

# Uncertainty of setting up unit and meter anew, which repeats do not show; common practice, no source. [dB]
SET_UP_DB = 0.5


@dataclass(frozen=True, slots=True)
class ComparableSound:
    """Level of one setting at the standard distance.

    level : with its whole uncertainty [dB(A)]
    meter : the one known meter; None if unknown or if there were several
    of_meter_db : uncertainty component of the meter, to be added to `without_meter`; 0 if `without_meter` is as
        uncertain as the whole
    without_meter : the same level without the meter's component, at least that of setting up
    instruments : meters used; an empty name is an unknown meter
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
    """Setting id to its level; settings without a measurement are omitted."""
    rows: dict[int, list[SoundMeasurement]] = defaultdict(list)
    for row in session.scalars(
        select(SoundMeasurement)
        .where(SoundMeasurement.setting_id.in_(setting_ids))
        .order_by(SoundMeasurement.setting_id, SoundMeasurement.id)
    ):
        rows[row.setting_id].append(row)
    return {setting_id: _comparable(found, standard_distance_m, rule) for setting_id, found in rows.items()}


def levels_to_compare(one: ComparableSound, other: ComparableSound) -> tuple[Measured, Measured]:
    """The two levels for their difference: without the meter's component if the same meter measured both."""
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
        # repeats may agree by chance, but setting up still adds an uncertainty
        without_meter=Measured(whole.value, max(rest, SET_UP_DB)),
        instruments=frozenset(row.instrument.strip() for row in rows),
    )
