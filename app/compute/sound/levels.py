"""Arithmetic of sound levels: energy mean and sum, background correction by a named rule, distance.

Loads no numpy: a unit has a handful of levels, and the first page needs them.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, NamedTuple

Finding = Literal["as measured", "corrected", "upper bound"]


@dataclass(frozen=True, slots=True)
class BackgroundRule:
    """Rule of a standard for background correction; differences are unit on minus background.

    no_correction_from_db : from this difference on nothing is subtracted; `no_correction_at_edge`: whether the
            limit itself is included
    window_from_db : from this difference on the correction is exact; `window_at_edge` as before
    cap_db : what is subtracted below the window, where the result is only an upper bound [dB]
    """

    name: str
    no_correction_from_db: float
    no_correction_at_edge: bool
    window_from_db: float
    window_at_edge: bool
    cap_db: float
    source: str

    def needs_no_correction(self, difference_db: float) -> bool:
        edge = self.no_correction_from_db
        return difference_db > edge or (self.no_correction_at_edge and difference_db == edge)

    def below_window(self, difference_db: float) -> bool:
        edge = self.window_from_db
        return difference_db < edge or (not self.window_at_edge and difference_db == edge)


BACKGROUND_RULES = {
    rule.name: rule
    for rule in (
        BackgroundRule("ISO 3744", 15.0, False, 6.0, True, 1.3, "ISO 3744:2010, 8.2.3, read second-hand"),
        BackgroundRule(
            "ISO 3746", 10.0, False, 3.0, True, 3.0, "ISO 3746:2010, 8.3.3, read second-hand; the cap from memory"
        ),
        BackgroundRule("ISO 1996-2", 10.0, True, 3.0, False, 0.0, "ISO 1996-2:2007, read second-hand"),
    )
}


class CorrectedLevel(NamedTuple):
    """A background-corrected level.

    level_db : the level; an upper bound where `finding` says so [dB]
    correction_db : what was subtracted [dB]
    measured_db, background_db : with the unit on and off; None where no background was measured [dB]
    """

    level_db: float
    correction_db: float
    measured_db: float
    background_db: float | None
    finding: Finding
    rule: str

    @property
    def difference_db(self) -> float | None:
        """Measured minus background; None where no background was measured [dB]."""
        return None if self.background_db is None else self.measured_db - self.background_db

    @property
    def sentence(self) -> str:
        """The result as a sentence, with the rule."""
        difference = self.difference_db
        if difference is None:
            return f"At most {self.measured_db:.1f} dB: the background level with the unit off was not measured."
        if self.finding == "as measured":
            return f"The background is {difference:.1f} dB lower, so {self.rule} applies no correction."
        if self.finding == "corrected":
            return (
                f"{self.correction_db:.1f} dB subtracted for the background by {self.rule}; the background is "
                f"{difference:.1f} dB lower."
            )
        rule = BACKGROUND_RULES[self.rule]
        return (
            f"At most {self.level_db:.1f} dB: the background is {self.background_db:.1f} dB, {difference:.1f} dB below "
            f"the {self.measured_db:.1f} dB with the unit on; {rule.name} needs "
            f"{'' if rule.window_at_edge else 'more than '}{rule.window_from_db:g} dB."
        )


class ConvertedLevel(NamedTuple):
    """A level converted to another distance. `estimate` is False only where the distance is the same."""

    level_db: float
    change_db: float
    estimate: bool


def energy_sum(levels_db: Sequence[float]) -> float:
    r"""Level of several sources together: :math:`10 \lg \sum 10^{L_i/10}` [dB].

    Source: ISO 3744:2010, read second-hand. For incoherent sources.
    Raises   ValueError without levels or for one that is not a number
    >>> round(energy_sum([60.0, 60.0]), 4)
    63.0103
    """
    return 10 * math.log10(math.fsum(_energies(levels_db)))


def energy_mean(levels_db: Sequence[float]) -> float:
    r"""Mean of levels by energy: :math:`10 \lg \left(\frac{1}{n}\sum 10^{L_i/10}\right)` [dB].

    Source: ISO 3744:2010, read second-hand. The arithmetic mean of the decibels is lower, and wrong.
    Raises   ValueError without levels or for one that is not a number
    >>> round(energy_mean([81.5, 82.4, 81.3]), 1)
    81.8
    """
    return 10 * math.log10(math.fsum(_energies(levels_db)) / len(levels_db))


def background_correction(measured_db: float, background_db: float | None, rule_name: str) -> CorrectedLevel:
    r"""Level of the unit alone, by the rule of a named standard.

    .. math:: L = L' - K_1,\qquad K_1 = -10 \lg\left(1 - 10^{-0.1\,\Delta L}\right),\qquad \Delta L = L' - L''

    Parameters
        measured_db, background_db : L' with the unit on, L'' with the unit off [dB]
        rule_name : "ISO 3744" (corrects from 6 to 15 dB), "ISO 3746" (3 to 10 dB), or "ISO 1996-2" (above 3 and
            below 10 dB); the standards differ on purpose
    Returns  the level; below the window of the rule only an upper bound, and without a background as well
    Raises   ValueError for a rule that is not in the list, or a level that is not a number
    Source   ISO 3744:2010 eq. 16 and 8.2.3, ISO 3746:2010 8.3.3, ISO 1996-2:2007; all read second-hand

    >>> background_correction(90.0, 80.0, "ISO 3744").level_db
    89.54...
    >>> background_correction(36.0, 35.0, "ISO 3746").sentence
    'At most 33.0 dB: the background is 35.0 dB, 1.0 dB below the 36.0 dB with the unit on; ISO 3746 needs 3 dB.'
    """
    if rule_name not in BACKGROUND_RULES:
        raise ValueError(
            f"The background rule {rule_name!r} is not known; choose one of {', '.join(BACKGROUND_RULES)}."
        )
    rule = BACKGROUND_RULES[rule_name]
    if not math.isfinite(measured_db) or (background_db is not None and not math.isfinite(background_db)):
        raise ValueError(f"The levels are {measured_db} and {background_db} dB; both must be numbers.")
    if background_db is None:
        return CorrectedLevel(measured_db, 0.0, measured_db, None, "upper bound", rule.name)
    difference = measured_db - background_db
    if rule.needs_no_correction(difference):
        return CorrectedLevel(measured_db, 0.0, measured_db, background_db, "as measured", rule.name)
    if rule.below_window(difference):
        level = measured_db - rule.cap_db
        return CorrectedLevel(level, rule.cap_db, measured_db, background_db, "upper bound", rule.name)
    correction = -10 * math.log10(1 - 10 ** (-0.1 * difference))
    return CorrectedLevel(measured_db - correction, correction, measured_db, background_db, "corrected", rule.name)


def level_at_distance(level_db: float, from_m: float, to_m: float) -> ConvertedLevel:
    r"""Level at another distance, by the law of a point source in a free field.

    .. math:: L_2 = L_1 - 20 \lg (r_2 / r_1)

    Parameters
        level_db : level at `from_m` [dB]
        from_m, to_m : distances from the unit [m]
    Returns  the level, an estimate unless the distances are the same: in a room the reflected sound makes the true
        change smaller, and near a large unit the law does not hold
    Raises   ValueError for a distance that is not above zero
    Source   free field, point source; recomputed

    >>> level_at_distance(40.0, 1.0, 2.0)
    ConvertedLevel(level_db=33.97..., change_db=-6.02..., estimate=True)
    """
    if not (from_m > 0 and to_m > 0):
        raise ValueError(f"The distances are {from_m:g} m and {to_m:g} m; both must be above zero.")
    if from_m == to_m:
        return ConvertedLevel(level_db, 0.0, False)
    change = -20 * math.log10(to_m / from_m)
    return ConvertedLevel(level_db + change, change, True)


def _energies(levels_db: Sequence[float]) -> list[float]:
    if not levels_db or not all(map(math.isfinite, levels_db)):
        raise ValueError(f"The levels are {list(levels_db)} dB; one or more numbers are needed.")
    return [10.0 ** (level / 10) for level in levels_db]
