"""Sound level of a unit from its readings, without uncertainty: background correction, distance, energy mean.

Loads no scipy, so that a long table of units opens fast; `sound_level` adds the uncertainty.
"""

from typing import NamedTuple

from app.compute.sound.levels import CorrectedLevel, background_correction, energy_mean, level_at_distance


class SoundReading(NamedTuple):
    """One reading of a running unit.

    level_dba, background_dba : A-weighted level with the unit on, and of the room with it off [dB(A)]
    distance_m : from the unit [m]
    indoor : in a room, or (False) in the open or a room without echo
    instrument_class : "1", "2" or "" (IEC 61672-1)
    """

    level_dba: float
    background_dba: float | None
    distance_m: float
    indoor: bool = True
    instrument_class: str = ""


class UnitSound(NamedTuple):
    """Energy mean of the readings used, at one distance.

    Where no reading exceeds the background the level is an upper bound: each reading is at most its bound, so their
    energy mean is at most that of the bounds.

    used : indices of the readings used; where some are values and some only bounds, the bounds are left out
    levels_dba : of the readings used, corrected and converted
    changes_db : change of each used reading by the distance conversion
    """

    level_dba: float
    upper_bound: bool
    estimate: bool
    used: tuple[int, ...]
    levels_dba: tuple[float, ...]
    changes_db: tuple[float, ...]
    corrections: tuple[CorrectedLevel, ...]

    def bound_sentence(self, standard_distance_m: float) -> str:
        """For an upper bound: a sentence on the bound and its reason, for the level shown."""
        first = self.corrections[self.used[0]]
        if len(self.used) == 1 and not self.estimate:
            return first.sentence
        several = f"the energy mean of the bounds of {len(self.used)} readings, " if len(self.used) > 1 else ""
        return (
            f"At most {self.level_dba:.1f} dB at {standard_distance_m:g} m, {several}by {first.rule}: the background "
            "was too loud or was not measured."
        )


def unit_sound(readings: tuple[SoundReading, ...], standard_distance_m: float, rule_name: str) -> UnitSound:
    """Level of a unit at a distance from one or more readings of one setting.

    Raises   ValueError without readings

    >>> unit_sound((SoundReading(40.0, 36.0, 1.0),), 1.0, "ISO 3746").level_dba
    37.795...
    """
    if not readings:
        raise ValueError("There is no sound reading; a level needs one or more.")
    # lists, because a generator takes as long as what it gives
    corrections = [background_correction(r.level_dba, r.background_dba, rule_name) for r in readings]
    proper = [i for i, c in enumerate(corrections) if c.finding != "upper bound"]
    used = proper or list(range(len(readings)))
    converted = [level_at_distance(corrections[i].level_db, readings[i].distance_m, standard_distance_m) for i in used]
    levels = [c.level_db for c in converted]
    changes = [c.change_db for c in converted]
    estimates = [c.estimate for c in converted]
    return UnitSound(
        level_dba=energy_mean(levels),
        upper_bound=not proper,
        estimate=any(estimates),
        used=tuple(used),
        levels_dba=tuple(levels),
        changes_db=tuple(changes),
        corrections=tuple(corrections),
    )
