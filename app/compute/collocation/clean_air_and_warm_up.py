"""What a logger reads in clean air, and how long it takes to settle after it is switched on."""

import math
from dataclasses import dataclass

import numpy as np

from app.compute.collocation.alignment import Floats, Levels
from app.compute.collocation.errors_in_variables import effective_number, resolution
from app.compute.statistics.measured import Measured
from app.errors import InvalidValue

FEWEST_READINGS = 20
DETECTION_FACTOR = 3.0  # of the standard deviation in clean air, the common convention
# Share of the settled ratio within which a logger counts as warm. Common practice, no source.
SETTLED_WITHIN = 0.03
_MINUTE_S = 60.0
_SHORTEST_WARM_UP_S = 900.0


@dataclass(frozen=True, slots=True)
class CleanAir:
    """Zero level, and limit of detection above it with its 95 % interval [unit of the channel]."""

    zero: Measured
    detection_limit: float
    detection_limit_low: float
    detection_limit_high: float
    readings: int


@dataclass(frozen=True, slots=True)
class WarmUp:
    """settled_after_min : until each minute's mean ratio to the reference stays within 3 % of the settled ratio
    first_excess : ratio of the first minute over the settled one, minus one
    """

    settled_after_min: float
    first_excess: float


def clean_air(levels: Levels) -> CleanAir:
    r"""Zero level and limit of detection from a stretch of clean air.

    .. math:: L = 3\,s, \qquad s\sqrt{\nu/\chi^2_{0.975}} < \sigma < s\sqrt{\nu/\chi^2_{0.025}}

    with s the standard deviation of the readings, at least the resolution over √12, and ν from the number of
    independent readings.

    Raises InvalidValue for fewer than 20 readings.
    """
    from scipy.special import chdtri  # loaded when used: the record of checks does not need it

    level = levels.level[np.isfinite(levels.level)]
    if len(level) < FEWEST_READINGS:
        raise InvalidValue(
            f"The stretch of clean air of {levels.name} has {len(level)} readings; the limit of detection needs "
            f"{FEWEST_READINGS}. Choose a longer stretch."
        )
    about = level - level.mean()
    number = max(effective_number(about), 3.0)
    spread = max(float(np.std(level, ddof=1)), resolution(levels.level[np.isfinite(levels.level)]) / math.sqrt(12))
    degrees = number - 1
    low, high = (spread * math.sqrt(degrees / float(chdtri(degrees, share))) for share in (0.025, 0.975))
    return CleanAir(
        zero=Measured(float(level.mean()), spread / math.sqrt(number), degrees),
        detection_limit=DETECTION_FACTOR * spread,
        detection_limit_low=DETECTION_FACTOR * low,
        detection_limit_high=DETECTION_FACTOR * high,
        readings=len(level),
    )


def warm_up(reference: Levels, other: Levels) -> WarmUp:
    """Time until the ratio of a logger to a warm reference stays where it is in the last third of the stretch.

    reference, other : readings on one clock; the other logger was switched on with its first reading

    Raises InvalidValue for less than 15 min, or a level too near zero for a ratio.
    """
    minutes, x, y = means_of_both(reference, other, _MINUTE_S)
    if len(minutes) * _MINUTE_S < _SHORTEST_WARM_UP_S:
        raise InvalidValue(
            f"The logs of {reference.name} and {other.name} share {len(minutes)} min; a warm-up check needs 15 min. "
            "Choose longer logs."
        )
    last = len(x) - len(x) // 3
    if float(np.min(x)) <= 0 or float(np.mean(y[last:])) <= 0:
        raise InvalidValue(
            f"The level of {reference.name} or {other.name} reaches zero, so their ratio is not defined. Check the "
            "warm-up in steady smoke."
        )
    ratio = y / x
    settled = float(np.mean(ratio[last:]))
    outside = np.flatnonzero(np.abs(ratio / settled - 1) > SETTLED_WITHIN)
    after = 0.0 if len(outside) == 0 else float(minutes[outside[-1]] - minutes[0]) / _MINUTE_S + 1
    return WarmUp(after, float(ratio[0] / settled - 1))


def means_of_both(reference: Levels, other: Levels, length_s: float) -> tuple[Floats, Floats, Floats]:
    """Starts of the intervals, whole multiples of the length, and both loggers' means over them, where each has three
    quarters of its readings.
    """
    start = math.ceil(max(reference.time_s[0], other.time_s[0]) / length_s) * length_s  # alike for all pairs
    number = int((min(reference.time_s[-1], other.time_s[-1]) - start) // length_s)
    if number < 1:
        return np.empty(0), np.empty(0), np.empty(0)
    means = []
    for each in (reference, other):
        place = np.floor((each.time_s - start) / length_s).astype(np.int64)
        inside = (place >= 0) & (place < number) & np.isfinite(each.level)
        counts = np.bincount(place[inside], minlength=number)
        sums = np.bincount(place[inside], weights=each.level[inside], minlength=number)
        enough = counts >= 0.75 * length_s / each.interval_s
        means.append(np.where(enough, sums / np.maximum(counts, 1), np.nan))
    kept = np.isfinite(means[0]) & np.isfinite(means[1])
    starts: Floats = start + length_s * np.arange(number, dtype=np.float64)
    return starts[kept], means[0][kept], means[1][kept]
