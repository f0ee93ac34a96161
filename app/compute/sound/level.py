"""Sound level of a unit at one setting, at the bench's standard distance, from all its readings."""

from dataclasses import dataclass

from app.compute.sound.levels import CorrectedLevel
from app.compute.sound.uncertainty import LIMIT_DB_BY_CLASS, level_uncertainty_db
from app.compute.sound.unit_sound import SoundReading, UnitSound, unit_sound
from app.compute.statistics.measured import Measured


@dataclass(frozen=True, slots=True)
class SoundLevel:
    """Level of one setting at a distance.

    level_dba : energy mean of the readings used, with its standard uncertainty [dB(A)]
    upper_bound : the background was too close or not measured; the true level is at most this
    estimate : converted from another distance by 20 lg
    readings : how many there are; where some are values and some only bounds, the bounds are left out
    corrections : each corrected reading, in the order given
    sentences : cautions
    """

    level_dba: Measured
    distance_m: float
    upper_bound: bool
    estimate: bool
    readings: int
    corrections: tuple[CorrectedLevel, ...]
    sentences: tuple[str, ...]


def sound_level(readings: tuple[SoundReading, ...], standard_distance_m: float, rule_name: str) -> SoundLevel:
    """Level of a setting from repeated readings: background correction, distance conversion, energy mean.

    Parameters
        readings : one or more of the same setting
        standard_distance_m : distance of the bench [m]
        rule_name : see `background_correction`
    Returns  the level, with its uncertainty by `level_uncertainty_db`
    Raises   ValueError without readings, or for an unknown rule

    >>> level = sound_level((SoundReading(40.0, 25.0, 2.0, instrument_class="2"),), 1.0, "ISO 3746")
    >>> round(level.level_dba.value, 1), level.estimate, level.upper_bound
    (46.0, True, False)
    """
    sound = unit_sound(readings, standard_distance_m, rule_name)
    uncertainty, degrees_of_freedom = level_uncertainty_db(readings, sound)
    return SoundLevel(
        Measured(sound.level_dba, uncertainty, degrees_of_freedom),
        standard_distance_m,
        upper_bound=sound.upper_bound,
        estimate=sound.estimate,
        readings=len(readings),
        corrections=sound.corrections,
        sentences=_sentences(readings, sound, standard_distance_m),
    )


def _sentences(readings: tuple[SoundReading, ...], sound: UnitSound, standard_distance_m: float) -> tuple[str, ...]:
    found = []
    used = sound.used
    if sound.upper_bound:
        found.append(sound.bound_sentence(standard_distance_m))
    elif len(used) < len(readings):
        left_out = len(readings) - len(used)
        found.append(
            f"{left_out} of {len(readings)} readings give only an upper bound, because the background was too close "
            "or not measured; they are excluded."
        )
    others = sorted({readings[i].distance_m for i in used if readings[i].distance_m != standard_distance_m})
    if others:
        distances = " and ".join(f"{distance:g} m" for distance in others)
        found.append(
            f"Measured at {distances} and converted to {standard_distance_m:g} m by 20 lg of the distances: an "
            "estimate."
        )
    if any(readings[i].instrument_class not in LIMIT_DB_BY_CLASS for i in used):
        found.append("The meter class is not specified, so ±3 dB is assumed.")
    if len(used) == 1:
        found.append("Only one reading, so the spread between readings is not known.")
    return tuple(found)
