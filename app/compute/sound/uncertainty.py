"""Standard uncertainty of a unit's level: spread of the readings, meter, distance conversion.

Loads no scipy, so that a long table of units opens fast.
"""

import math

from app.compute.sound.unit_sound import SoundReading, UnitSound

# Standard uncertainty of the meter: its acceptance limit at 1 kHz as a rectangle. Classes 1 and 2: IEC 61672-1:2013,
# Table 3, 0.7 and 1.0 dB, read second-hand. Without a class (a telephone, a cheap meter): ±3 dB, common practice,
# no source.
LIMIT_DB_BY_CLASS = {"1": 0.7, "2": 1.0}
_LIMIT_DB_WITHOUT_CLASS = 3.0


def level_uncertainty_db(readings: tuple[SoundReading, ...], sound: UnitSound) -> tuple[float, float]:
    """Standard uncertainty of a unit's level and its degrees of freedom [dB].

    .. math:: u^2 = s^2/n + u_m^2 + u_d^2

    s is the spread of the readings used, u_m the meter's limit at 1 kHz as a rectangle, common to all readings, u_d
    the conversion indoors: half of the change as a rectangle (common practice, no source), since a room reflects and
    the true change is smaller. The degrees of freedom are those of s, carried over to the sum [1]_.

    readings : all of the setting; sound : result of `unit_sound`

    References
    .. [1] JCGM 100:2008, G.4.1, the other parts taken as known exactly.

    >>> from app.compute.sound.unit_sound import unit_sound
    >>> one = (SoundReading(40.0, 25.0, 1.0, instrument_class="2"),)
    >>> round(level_uncertainty_db(one, unit_sound(one, 1.0, "ISO 3746"))[0], 3)
    0.577
    """
    of_repeats, degrees_of_freedom = _spread(sound.levels_dba)
    used = [readings[i] for i in sound.used]
    of_meter = max([meter_uncertainty_db(reading.instrument_class) for reading in used])
    indoors = [abs(change) for reading, change in zip(used, sound.changes_db, strict=True) if reading.indoor]
    largest_indoors = max(indoors, default=0.0)
    of_distance = largest_indoors / 2 / math.sqrt(3)
    both = math.hypot(of_repeats, of_meter, of_distance)
    if of_repeats > 0:
        degrees_of_freedom *= (both / of_repeats) ** 4
    return both, degrees_of_freedom


def meter_uncertainty_db(instrument_class: str) -> float:
    """Standard uncertainty of a meter of a class ("1", "2", "" for none): its limit at 1 kHz as a rectangle [dB].

    >>> round(meter_uncertainty_db("1"), 3)
    0.404
    """
    return LIMIT_DB_BY_CLASS.get(instrument_class, _LIMIT_DB_WITHOUT_CLASS) / math.sqrt(3)


def _spread(levels: tuple[float, ...]) -> tuple[float, float]:
    """Standard error of the mean of repeats, and its degrees of freedom."""
    n = len(levels)
    if n == 1:
        return 0.0, math.inf
    mean = sum(levels) / n
    variance = sum([(level - mean) ** 2 for level in levels]) / (n - 1)
    return math.sqrt(variance / n), float(n - 1) if variance > 0 else math.inf
