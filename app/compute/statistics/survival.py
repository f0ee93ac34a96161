"""Survival curve of right-censored times (Kaplan and Meier), with its median."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby
from operator import itemgetter

_Z_95 = 1.959963984540054
_HALF = 1e-12


@dataclass(frozen=True, slots=True)
class SurvivalCurve:
    """Share not yet reached after each event time, in the unit of the times.

    times, at_risk, events : at each time with an event, number at risk and number of events
    survival, greenwood_error : share beyond that time, and its standard error by Greenwood
    low_95, high_95 : log-log interval of the share; the last point of a curve that falls to zero has none (0, 0)
    median : None where the curve does not fall below a half
    median_low_95, median_high_95 : ends of the interval of the median; None: open on that side
    """

    times: tuple[float, ...]
    at_risk: tuple[int, ...]
    events: tuple[int, ...]
    survival: tuple[float, ...]
    greenwood_error: tuple[float, ...]
    low_95: tuple[float, ...]
    high_95: tuple[float, ...]
    median: float | None
    median_low_95: float | None
    median_high_95: float | None


def survival_curve(times: Sequence[float], reached: Sequence[bool]) -> SurvivalCurve:
    r"""Kaplan-Meier estimate with Greenwood errors. [1]_

    .. math:: \hat S(t) = \prod_{t_i\le t}\left(1-\frac{d_i}{n_i}\right), \qquad
              u(\hat S) = \hat S\sqrt{\sum_{t_i\le t}\frac{d_i}{n_i(n_i-d_i)}}

    Parameters
    ----------
    times : time of the event, or of censoring; zero or above
    reached : whether the event happened at that time; False is right-censored

    Returns
    -------
    The curve at its event times. The median is the first time at which the curve is below a half; where it is
        exactly a half, the middle between that event and the next, as for the median of an even number [2]_. Where it
        stays there without a next event, half never reached it, and there is no median. The interval
        of the median contains the times at which the log-log interval of the curve contains a half. [3]_

    Raises
    ------
    ValueError if there are no times, lengths differ, or a time is below zero or not a number.

    References
    ----------
    .. [1] E. L. Kaplan and P. Meier, J. Am. Stat. Assoc. 53, 457-481, 1958; formulas read in the public manual of a
       statistics program (details of its product-limit procedure), checked with lifelines and the remission data.
    .. [2] Same manual: the quartile is the middle of the stretch on which the curve is constant.
    .. [3] R. Brookmeyer and J. Crowley, Biometrics 38, 29-41, 1982, with the log-log transformation; same manual.

    >>> curve = survival_curve([6, 6, 6, 7], [True, True, False, True])
    >>> curve.survival, curve.median
    ((0.5, 0.0), 6.5)
    """
    _check(times, reached)
    points, at_risk, counts, survival, growth = _steps(times, reached)
    errors = [s * math.sqrt(g) for s, g in zip(survival, growth, strict=True)]
    bounds = [_log_log_interval(s, g) for s, g in zip(survival, growth, strict=True)]
    low, high = tuple(b[0] for b in bounds), tuple(b[1] for b in bounds)
    return SurvivalCurve(
        times=tuple(points),
        at_risk=tuple(at_risk),
        events=tuple(counts),
        survival=tuple(survival),
        greenwood_error=tuple(errors),
        low_95=low,
        high_95=high,
        median=_median(points, survival),
        median_low_95=next((t for t, bound in zip(points, low, strict=True) if bound <= 0.5), None),
        median_high_95=next((t for t, bound in zip(points, high, strict=True) if bound <= 0.5), None),
    )


def _steps(
    times: Sequence[float], reached: Sequence[bool]
) -> tuple[list[float], list[int], list[int], list[float], list[float]]:
    """At each time with an event: the time, number at risk, events, share left, and Greenwood's sum."""
    ordered = sorted(zip(times, reached, strict=True))
    points: list[float] = []
    at_risk: list[int] = []
    counts: list[int] = []
    survival: list[float] = []
    growth: list[float] = []
    gone, share, sum_of_growth = 0, 1.0, 0.0
    for time, same in groupby(ordered, key=itemgetter(0)):
        marks = [seen for _, seen in same]
        count, left = sum(marks), len(ordered) - gone
        gone += len(marks)
        if not count:
            continue
        share *= 1.0 - count / left
        # where all that were left reach it at once the curve is zero and Greenwood's sum is undefined; the error is 0
        sum_of_growth += count / (left * (left - count)) if left > count else 0.0
        points.append(float(time))
        at_risk.append(left)
        counts.append(count)
        survival.append(share)
        growth.append(sum_of_growth)
    return points, at_risk, counts, survival, growth


def _check(times: Sequence[float], reached: Sequence[bool]) -> None:
    if len(times) == 0:
        raise ValueError("A survival curve needs at least one time and found none.")
    if len(reached) != len(times):
        raise ValueError(f"There are {len(times)} times and {len(reached)} marks of what was reached; each needs one.")
    for time in times:
        if not time >= 0:
            raise ValueError(f"A time is {time}; each must be zero or above.")


def _median(times: list[float], survival: list[float]) -> float | None:
    for place, share in enumerate(survival):
        if share < 0.5 - _HALF:
            return times[place]
        if share <= 0.5 + _HALF:
            return (times[place] + times[place + 1]) / 2 if place + 1 < len(times) else None
    return None


def _log_log_interval(share: float, growth: float) -> tuple[float, float]:
    if not 0 < share < 1:
        return share, share
    half_width = _Z_95 * math.sqrt(growth) / abs(math.log(share))
    return share ** math.exp(half_width), share ** math.exp(-half_width)
