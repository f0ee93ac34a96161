"""Sound level of each setting at the bench's standard distance, from all measurements of it."""

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import NamedTuple

from sqlalchemy import Select, bindparam, or_, select
from sqlalchemy.orm import Session

from app.storage.bench_measurements import SoundMeasurement


class SoundRow(NamedTuple):
    """One measurement; a NamedTuple, because it is filled from the driver's tuple."""

    level_dba: float
    background_dba: float | None
    distance_m: float


@dataclass(frozen=True, slots=True)
class SettingSound:
    """Level of one setting at the standard distance, energy mean of its measurements [dB(A)].

    level_dba : None where nothing was measured
    is_estimate : some of it was converted from another distance
    is_upper_bound : the room was too loud for a correction, so the unit is at most this loud
    """

    level_dba: float | None
    is_estimate: bool
    is_upper_bound: bool
    measurements: int
    words: str


NOT_MEASURED = SettingSound(None, False, False, 0, "The sound of this setting was not measured.")


@dataclass(frozen=True, slots=True)
class SettingSounds:
    """Levels of all settings of a bench, worked out for those that are asked for."""

    rows_by_setting: dict[int, tuple[SoundRow, ...]]
    standard_distance_m: float
    rule: str

    def of(self, setting_id: int) -> SettingSound:
        rows = self.rows_by_setting.get(setting_id)
        return NOT_MEASURED if rows is None else setting_sound(rows, self.standard_distance_m, self.rule)


def _build() -> Select[int, float, float | None, float]:
    return (
        select(
            SoundMeasurement.setting_id,
            SoundMeasurement.level_dba,
            SoundMeasurement.background_dba,
            SoundMeasurement.distance_m,
        )
        .where(or_(bindparam("unit_id") == 0, SoundMeasurement.unit_under_test_id == bindparam("unit_id")))
        .order_by(SoundMeasurement.setting_id, SoundMeasurement.id)
    )


_QUERY = _build()


def read_setting_sounds(session: Session, *, standard_distance_m: float, rule: str, unit_id: int = 0) -> SettingSounds:
    """Levels of all settings, or of those of one unit."""
    found: dict[int, list[SoundRow]] = {}
    for setting_id, level, background, distance in session.execute(_QUERY, {"unit_id": unit_id}):
        found.setdefault(setting_id, []).append(SoundRow(level, background, distance))
    return SettingSounds({setting: tuple(rows) for setting, rows in found.items()}, standard_distance_m, rule)


# Least and greatest difference to the background between which a level is corrected [dB]
_WINDOWS = {"ISO 3744": (6.0, 15.0), "ISO 3746": (3.0, 10.0)}


@lru_cache(maxsize=16384)
def setting_sound(rows: tuple[SoundRow, ...], standard_distance_m: float, rule: str) -> SettingSound:
    r"""Energy mean of the measurements, each corrected for the background and brought to the standard distance.

    Kept for values seen before: the level follows from the stored values alone.
    """
    low, high = _WINDOWS.get(rule, _WINDOWS["ISO 3746"])
    levels = []
    bound = False
    for row in rows:
        level = row.level_dba
        if row.background_dba is not None and (above := level - row.background_dba) < high:
            bound = bound or above < low
            level += 10 * math.log10(1 - 10 ** (-max(above, low) / 10))
        levels.append(level + 20 * math.log10(row.distance_m / standard_distance_m))
    mean = 10 * math.log10(sum(10 ** (level / 10) for level in levels) / len(levels))
    converted = any(row.distance_m != standard_distance_m for row in rows)
    words = f"{len(rows)} measured, {rule} correction for the background"
    if converted:
        words += f", converted to {standard_distance_m:g} m by the distance law: an estimate"
    if bound:
        words += "; the room was too loud to correct fully, so the unit is at most this loud"
    return SettingSound(mean, converted, bound, len(rows), words + ".")
