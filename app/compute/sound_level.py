"""The level of a unit at one setting, at the bench's standard distance, from all its readings."""

import math
from dataclasses import dataclass

from app.compute.measured import Measured
from app.compute.sound import CorrectedLevel
from app.compute.unit_sound import SoundReading, UnitSound, unit_sound

# Standard uncertainty of the meter: its acceptance limit at 1 kHz as a rectangle. Classes 1 and 2: IEC 61672-1:2013,
# Table 3, 0.7 and 1.0 dB, read second-hand. Without a class (a telephone, a cheap meter): ±3 dB, common practice,
# no source.
_LIMIT_DB_BY_CLASS = {"1": 0.7, "2": 1.0}
_LIMIT_DB_WITHOUT_CLASS = 3.0


@dataclass(frozen=True, slots=True)
class SoundLevel:
    """Level of one setting at a distance.

    level_dba : energy mean of the readings used, with its standard uncertainty [dB(A)]
    upper_bound : the background was too near or not measured: the true level is at most this
    estimate : brought from another distance by 20 lg
    readings, readings_used : where some readings are proper and some are bounds only, the bounds are left out
    corrections : what each reading became, in the order given
    sentences : cautions in words
    """

    level_dba: Measured
    distance_m: float
    upper_bound: bool
    estimate: bool
    readings: int
    readings_used: int
    corrections: tuple[CorrectedLevel, ...]
    sentences: tuple[str, ...]


def sound_level(readings: tuple[SoundReading, ...], standard_distance_m: float, rule_name: str) -> SoundLevel:
    r"""Level of a setting from repeated readings: background off, distance, energy mean.

    .. math:: u^2 = s^2/n + u_m^2 + u_d^2

    Parameters
        readings : one or more of the same setting
        standard_distance_m : distance of the bench [m]
        rule_name : see `background_correction`
    Returns  the level; s is the spread of the readings, u_m the meter's limit at 1 kHz as a rectangle, common to all
        readings, u_d the conversion indoors: half of the change as a rectangle (common practice, no source), since a
        room reflects and the true change is smaller
    Raises   ValueError without readings, or for an unknown rule

    >>> level = sound_level((SoundReading(40.0, 25.0, 2.0, instrument_class="2"),), 1.0, "ISO 3746")
    >>> round(level.level_dba.value, 1), level.estimate, level.upper_bound
    (46.0, True, False)
    """
    sound = unit_sound(readings, standard_distance_m, rule_name)
    used = sound.used
    of_repeats, degrees_of_freedom = _spread(sound.levels_dba)
    of_meter = max(meter_uncertainty_db(readings[i].instrument_class) for i in used)
    changes_indoors = [abs(change) for i, change in zip(used, sound.changes_db, strict=True) if readings[i].indoor]
    of_distance = max(changes_indoors, default=0.0) / 2 / math.sqrt(3)
    both = math.hypot(of_repeats, of_meter, of_distance)
    if of_repeats > 0:
        degrees_of_freedom *= (both / of_repeats) ** 4
    return SoundLevel(
        Measured(sound.level_dba, both, degrees_of_freedom),
        standard_distance_m,
        upper_bound=sound.upper_bound,
        estimate=sound.estimate,
        readings=len(readings),
        readings_used=len(used),
        corrections=sound.corrections,
        sentences=_sentences(readings, sound, standard_distance_m),
    )


def meter_uncertainty_db(instrument_class: str) -> float:
    """Standard uncertainty of a meter of a class ("1", "2", "" for none): its limit at 1 kHz as a rectangle [dB].

    >>> round(meter_uncertainty_db("1"), 3)
    0.404
    """
    return _LIMIT_DB_BY_CLASS.get(instrument_class, _LIMIT_DB_WITHOUT_CLASS) / math.sqrt(3)


def _spread(levels: tuple[float, ...]) -> tuple[float, float]:
    """Standard error of the mean of repeats, and its degrees of freedom."""
    n = len(levels)
    if n == 1:
        return 0.0, math.inf
    mean = sum(levels) / n
    variance = sum((level - mean) ** 2 for level in levels) / (n - 1)
    return math.sqrt(variance / n), float(n - 1) if variance > 0 else math.inf


def _sentences(readings: tuple[SoundReading, ...], sound: UnitSound, standard_distance_m: float) -> tuple[str, ...]:
    found = []
    used = sound.used
    if sound.upper_bound:
        found.append(sound.corrections[used[0]].sentence)
    elif len(used) < len(readings):
        left_out = len(readings) - len(used)
        found.append(
            f"{left_out} of {len(readings)} readings give an upper bound only, since the background was too near or "
            "not measured; they are left out."
        )
    others = sorted({readings[i].distance_m for i in used if readings[i].distance_m != standard_distance_m})
    if others:
        distances = " and ".join(f"{distance:g} m" for distance in others)
        found.append(
            f"Measured at {distances} and brought to {standard_distance_m:g} m by 20 lg of the distances: an estimate."
        )
    if any(readings[i].instrument_class not in _LIMIT_DB_BY_CLASS for i in used):
        found.append("The meter has no stated class, so ±3 dB is taken for it.")
    if len(used) == 1:
        found.append("One reading only, so the spread between readings is not known.")
    return tuple(found)
