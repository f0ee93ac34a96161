"""Sound level of each setting at the bench's standard distance, from all its measurements."""

import math
from collections.abc import Collection, Mapping, Sequence
from typing import Any, NamedTuple

from sqlalchemy import Connection, Select, bindparam, select

from app.compute.sound.uncertainty import level_uncertainty_db
from app.compute.sound.unit_sound import SoundReading, UnitSound, unit_sound
from app.compute.statistics.measured import Measured
from app.compute.wording.numbers import counted
from app.services.snapshot.computed_when_asked import ComputedWhenAsked
from app.services.snapshot.highest_setting import highest_setting_id
from app.storage.models.bench_measurements import SoundMeasurement
from app.storage.models.units_under_test import UnitUnderTest


class SettingSound(NamedTuple):
    """Level of one setting at the standard distance, energy mean of its measurements [dB(A)].

    level_dba : None without a measurement
    uncertainty_db, degrees_of_freedom : standard uncertainty of the level, as on the unit's page
    is_estimate : some measurements were converted from another distance
    is_upper_bound : the background was too high for a correction, so the level is an upper bound
    found, distance_m, rule : the level with its readings, and how it was computed
    """

    level_dba: float | None
    is_estimate: bool
    is_upper_bound: bool
    measurements: int
    uncertainty_db: float = 0.0
    degrees_of_freedom: float = math.inf
    found: UnitSound | None = None
    distance_m: float = 1.0
    rule: str = ""

    @property
    def level(self) -> Measured | None:
        """The level with its uncertainty [dB(A)]; None without a measurement, or if it is an upper bound."""
        if self.level_dba is None or self.is_upper_bound:
            return None
        return Measured(self.level_dba, self.uncertainty_db, self.degrees_of_freedom)

    @property
    def words(self) -> str:
        """How the level was computed."""
        if self.found is None:
            return "The sound of this setting was not measured."
        words = f"{counted(self.measurements, 'measurement')}, energy mean, background by {self.rule}."
        if self.is_estimate:
            words += f" Converted to {self.distance_m:g} m by the distance law, so an estimate."
        left_out = self.measurements - len(self.found.used)
        if self.is_upper_bound:
            words += f" {self.found.bound_sentence(self.distance_m)}"
        elif left_out:
            words += f" {left_out} of them give only an upper bound and are excluded."
        return words


NOT_MEASURED = SettingSound(None, False, False, 0)


def _build() -> Select[int, float, float | None, float, str, str]:
    return select(
        SoundMeasurement.setting_id,
        SoundMeasurement.level_dba,
        SoundMeasurement.background_dba,
        SoundMeasurement.distance_m,
        SoundMeasurement.environment,
        SoundMeasurement.instrument_class,
    ).order_by(SoundMeasurement.id)


_QUERY = _build()
_HIGHEST = _QUERY.where(SoundMeasurement.setting_id.in_(select(highest_setting_id()).select_from(UnitUnderTest)))
_SOME = _QUERY.where(SoundMeasurement.unit_under_test_id.in_(bindparam("unit_ids", expanding=True)))


def read_setting_sounds(
    connection: Connection,
    *,
    standard_distance_m: float,
    rule: str,
    highest_only: bool = False,
    unit_ids: Collection[int] | None = None,
) -> Mapping[int, SettingSound]:
    """Levels by setting id, of all settings, of some units, or of the highest setting of each unit."""
    query, values = _HIGHEST if highest_only else _QUERY, {}
    if unit_ids is not None:
        query, values = _SOME, {"unit_ids": list(unit_ids)}
    found: dict[int, list[Sequence[Any]]] = {}
    for row in connection.execute(query, values).all():
        found.setdefault(row[0], []).append(row)

    def level_of(rows: list[Sequence[Any]]) -> SettingSound:
        readings = [
            SoundReading(level, background, distance, environment == "indoor", instrument_class)
            for _, level, background, distance, environment, instrument_class in rows
        ]
        return _setting_sound(tuple(readings), standard_distance_m, rule)

    return ComputedWhenAsked(found, level_of)


def _setting_sound(readings: tuple[SoundReading, ...], standard_distance_m: float, rule: str) -> SettingSound:
    """Energy mean of the measurements, each corrected for background and converted to the standard distance."""
    sound = unit_sound(readings, standard_distance_m, rule)
    uncertainty, degrees_of_freedom = level_uncertainty_db(readings, sound)
    return SettingSound(
        sound.level_dba,
        sound.estimate,
        sound.upper_bound,
        len(readings),
        uncertainty,
        degrees_of_freedom,
        sound,
        standard_distance_m,
        rule,
    )
