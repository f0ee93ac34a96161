"""Time to clear over repeated trials, some of which may be censored (ended before the clear level was reached)."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from statistics import median

from app.compute.decay.result import TimeToClear
from app.compute.statistics.log_normal_times import RepeatedTimes, medians_of_times
from app.compute.statistics.repeatability import ASSUMED_BETWEEN_TRIALS, Repeatability
from app.compute.statistics.survival import SurvivalCurve, survival_curve

# From this many trials on, the Kaplan-Meier interval of the median is bounded without assumptions. Up to eight its
# coverage depends on the number (93.0 % with seven), so it is extended to contain the interval of the model.
FEWEST_FOR_SURVIVAL_CURVE, FEWEST_FOR_IT_ALONE = 6, 9

# Common practice, no source: relative spread of the smoke from one trial to the next, which moves the moment at which a
# fixed level is reached.
ASSUMED_SPREAD_OF_SMOKE = 0.20

LOG_NORMAL, KAPLAN_MEIER = "log-normal", "Kaplan-Meier"


@dataclass(frozen=True, slots=True)
class ClearingOfRepeats:
    """Time to clear of one setting over its trials. [min]

    median_min : None where half of the trials never cleared
    low_95_min, high_95_min : its interval; None without a median
    not_before_min : where there is no median, a lower bound of it: the median of the observed times and of the
            lengths of the runs that did not clear
    method : of the median: "log-normal", or "Kaplan-Meier" from six trials on; empty without one
    """

    trials: int
    censored_trials: int
    median_min: float | None
    low_95_min: float | None
    high_95_min: float | None
    not_before_min: float | None
    method: str = ""


def combine_times_to_clear(
    times: Sequence[TimeToClear], spread: Repeatability = ASSUMED_BETWEEN_TRIALS, *, start_level: float | None = None
) -> ClearingOfRepeats:
    """Median time to clear over trials; runs that did not clear count as right-censored.

    times : of the trials of one setting and channel, at one clear level, at least one
    spread : of the decay rate between trials, assumed or updated by the bench
    start_level : typical level at unit on, in the unit of the clear level; None where the clear level is a share of it,
        so that the amount of smoke does not matter

    Returns the median with its 95 % interval: from six trials on by Kaplan and Meier, where that interval is bounded;
        with fewer, log-normal times whose spread is that of the rate and of the amount of smoke, updated by the times
        themselves, with the uncertainty of each time added (`log_normal_times`). With six to eight the interval
        contains both.
    Raises ValueError if there is none, or if a time has neither a value nor a lower bound.

    >>> cleared = TimeToClear(True, 31.0, None, None, 10.0, 0.5)
    >>> not_cleared = TimeToClear(False, None, 172.0, None, 10.0)
    >>> alone = combine_times_to_clear([cleared])
    >>> alone.median_min, round(alone.low_95_min, 1), round(alone.high_95_min, 1)
    (31.0, 27.9, 34.4)
    >>> combine_times_to_clear([cleared, not_cleared, not_cleared]).not_before_min
    172.0
    """
    return combine_many_times([RunsOfSetting(times, spread, start_level)])[0]


@dataclass(frozen=True, slots=True)
class RunsOfSetting:
    """Arguments of `combine_times_to_clear`."""

    times: Sequence[TimeToClear]
    spread: Repeatability = ASSUMED_BETWEEN_TRIALS
    start_level: float | None = None


def combine_many_times(settings: Sequence[RunsOfSetting]) -> list[ClearingOfRepeats]:
    """`combine_times_to_clear` for many settings, in their order."""
    found: list[ClearingOfRepeats | _Asked] = [_combined(setting) for setting in settings]
    asked = [one for one in found if isinstance(one, _Asked)]
    medians = iter(medians_of_times([(one.repeated, one.spread) for one in asked]))
    return [_with_model(one, next(medians)) if isinstance(one, _Asked) else one for one in found]


@dataclass(frozen=True, slots=True)
class _Asked:
    """What still needs the log-normal model; of_curve, curve_median : where the interval is to contain both."""

    trials: int
    censored: int
    only_bound: float | None
    repeated: RepeatedTimes
    spread: Repeatability
    of_curve: tuple[float, float] | None = None
    curve_median: float | None = None


def _combined(setting: RunsOfSetting) -> "ClearingOfRepeats | _Asked":
    times = setting.times
    if not times:
        raise ValueError("A combined time to clear needs at least one trial and found none.")
    bounds: list[float] = []
    for time in times:
        bound = time.value_min if time.reached else time.not_before_min
        if bound is None:
            raise ValueError("A time to clear has neither a value nor the end of its run; one of them is needed.")
        bounds.append(bound)
    censored = sum(not time.reached for time in times)
    few = len(times) < FEWEST_FOR_SURVIVAL_CURVE
    of_curve, curve_median = None, None
    if not few or censored:
        curve = survival_curve(bounds, [time.reached for time in times])
        if curve.median is None:
            return ClearingOfRepeats(len(times), censored, None, None, None, median(bounds))
        of_curve, curve_median = None if few else _bounded(curve), curve.median
        if of_curve is not None and len(times) >= FEWEST_FOR_IT_ALONE:
            return ClearingOfRepeats(len(times), censored, curve_median, *of_curve, None, KAPLAN_MEIER)
    spread = spread_of_times(setting.spread, times[-1].clear_level, setting.start_level)
    alone = bounds[0] if len(times) == 1 else None
    return _Asked(len(times), censored, alone, _repeated(times, bounds), spread, of_curve, curve_median)


def _with_model(asked: _Asked, of_model: tuple[float, float, float]) -> ClearingOfRepeats:
    """Median and interval of log-normal times, or the curve's with the interval of both; one time is its own median."""
    middle, low, high = of_model
    if asked.of_curve is None:
        value = middle if asked.only_bound is None else asked.only_bound
        return ClearingOfRepeats(asked.trials, asked.censored, value, low, high, None, LOG_NORMAL)
    low, high = min(low, asked.of_curve[0]), max(high, asked.of_curve[1])
    return ClearingOfRepeats(asked.trials, asked.censored, asked.curve_median, low, high, None, KAPLAN_MEIER)


def _bounded(curve: SurvivalCurve) -> tuple[float, float] | None:
    """The interval of the median, None where it is open on a side."""
    if curve.median_low_95 is None or curve.median_high_95 is None:
        return None
    return curve.median_low_95, curve.median_high_95


def spread_of_times(spread: Repeatability, clear_level: float, start_level: float | None) -> Repeatability:
    r"""Relative spread of times to clear before any was seen.

    .. math:: \left(\frac{u_t}{t}\right)^2 = \tau_r^2 + \left(\frac{a}{\ln(C_0/C_c)}\right)^2

    a is `ASSUMED_SPREAD_OF_SMOKE`, C0 and Cc the start level and the clear level: t = ln(C0/Cc)/k.
    """
    of_smoke = 0.0
    if start_level is not None and 0 < clear_level < start_level:
        of_smoke = ASSUMED_SPREAD_OF_SMOKE / max(math.log(start_level / clear_level), ASSUMED_SPREAD_OF_SMOKE)
    degrees = spread.degrees_of_freedom
    if of_smoke:
        degrees = min(degrees, ASSUMED_BETWEEN_TRIALS.degrees_of_freedom)
    return replace(spread, relative_sd=math.hypot(spread.relative_sd, of_smoke), degrees_of_freedom=degrees)


def _repeated(times: Sequence[TimeToClear], bounds: Sequence[float]) -> RepeatedTimes:
    """Logarithms in ascending order, so that the order of the trials does not matter to the last digit; a time of zero,
    at a clear level above the start, counts as a hundredth of a minute."""
    rows = []
    for time, bound in zip(times, bounds, strict=True):
        positive = max(bound, 0.01)
        own = (time.uncertainty_min or 0.0) if time.reached else 0.0
        rows.append((math.log(positive), own / positive, time.reached))
    return RepeatedTimes(*zip(*sorted(rows), strict=True))
