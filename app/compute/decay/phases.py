"""Finds the phases of a trial from its readings: start of smoke, peak, unit on, end."""

import math
from dataclasses import dataclass

import numpy as np

from app.compute.decay.result import Marks
from app.compute.signal.noise import Floats, median_of_three, moving_average

# All of these: common practice, no source.
SMOOTHING_MIN = 1.0  # [min] phases are found on a moving average of this width
LOW_SHARE = 0.10  # of the rise: below it the room counts as free of smoke
NEAR_PEAK_SHARE = 0.95  # of the peak: the first reading at this level starts the search for the peak
PEAK_SEARCH_MIN = 5.0  # [min] length of that search; in a slow decay noise could put the highest reading anywhere
SAME_HILL_SHARE = 0.5  # of the peak: a level that fell below it belongs to another release
SMOKE_AFTER_ON_MIN = 10.0  # [min] smoke may still rise this long after a unit-on mark
RISE_SHARE = 0.25  # of the peak's excess: a rise by this much over the lowest level so far ends the decay
LOW_LASTS_MIN = 2.0  # [min] a low level has to last this long before a rise from it counts
RISE_OVER_LOWEST = 0.30  # of that lowest level: a smaller rise is the noise of a slow decay
RISING_FALL_SHARE = 0.30  # of the peak's excess: a log that falls by less and then rises higher contains no decay

ROUNDING_H = 1e-9  # times in a log of several days differ by less than this only through rounding


@dataclass(frozen=True, slots=True)
class Phases:
    """Phases of one trial [h on the log's clock].

    before_smoke : readings before the smoke
    source_ended_h : the later of the peak and a mark for the end of the smoke; no decay is read before it
    smooth : levels after a median of three and the moving average
    rises_again_h : start of a later rise that ended the decay
    rising : the log rises overall, so it contains no decay
    unit_on_uncertainty_h : standard uncertainty of unit on, 0 with a mark
    unit_on_separable : False where the slope changes too little to tell the unit's decay from the natural decay
    """

    smoke_start_h: float | None
    peak_h: float
    source_ended_h: float
    unit_on_h: float
    end_h: float
    unit_on_found: bool
    before_smoke: slice
    smooth: Floats
    rises_again_h: float | None
    rising: bool
    unit_on_uncertainty_h: float = 0.0
    unit_on_separable: bool = True


def find_phases(time_h: Floats, levels: Floats, marks: Marks, interval_h: float) -> Phases:
    """Phases of a trial. Marks set by a person are kept, the others are found. Needs at least one reading."""
    width = round(float(np.clip(SMOOTHING_MIN / 60 / interval_h if interval_h > 0 else 1, 3, 181))) // 2 * 2 + 1
    smooth = moving_average(median_of_three(levels), width if levels.size > 20 else 1)
    end_h = float(time_h[-1]) if marks.end_h is None else min(marks.end_h, float(time_h[-1]))
    last = max(int(np.searchsorted(time_h, end_h, side="right")) - 1, 0)
    first = 0
    if marks.smoke_start_h is not None:
        first = min(int(np.searchsorted(time_h, marks.smoke_start_h)), last)
    top, trough = _greatest_fall(smooth, first, last)
    if marks.unit_on_h is not None:
        top = _top_at(time_h, smooth, marks.unit_on_h, first, last, top)
    peak = _peak_near(time_h, smooth, first, top)
    base = float(smooth[first : last + 1].min())
    excess = max(float(smooth[peak]) - base, 0.0)
    start = _smoke_start_index(smooth, first, peak)
    if marks.smoke_start_h is not None:
        start = first
    rising = False
    later = float(smooth[trough : last + 1].max())
    if marks.unit_on_h is None:
        fall = float(smooth[top] - smooth[trough])
        rising = later > float(smooth[top]) + fall and fall < RISING_FALL_SHARE * max(float(smooth[top]) - base, 1e-300)
    source_ended_h = max(float(time_h[peak]), -math.inf if marks.smoke_end_h is None else marks.smoke_end_h)
    on = peak if marks.unit_on_h is None else min(int(np.searchsorted(time_h, marks.unit_on_h)), last)
    again = (
        None if marks.end_h is not None else _rise_index(smooth, max(peak, on), last, RISE_SHARE * excess, interval_h)
    )
    rises_again_h = float(time_h[again]) if again is not None else None
    return Phases(
        smoke_start_h=_first_given(marks.smoke_start_h, None if start is None else float(time_h[start])),
        peak_h=float(time_h[peak]),
        source_ended_h=source_ended_h,
        unit_on_h=source_ended_h if marks.unit_on_h is None else marks.unit_on_h,
        end_h=end_h if rises_again_h is None else rises_again_h,
        unit_on_found=marks.unit_on_h is None,
        before_smoke=slice(0, start if start is not None else 0),
        smooth=smooth,
        rises_again_h=rises_again_h,
        rising=rising,
    )


def _first_given(mark: float | None, found: float | None) -> float | None:
    return mark if mark is not None else found


def _greatest_fall(smooth: Floats, first: int, last: int) -> tuple[int, int]:
    """Indices of the top and the trough of the greatest fall of the level."""
    part = smooth[first : last + 1]
    fall = np.maximum.accumulate(part) - part
    trough = int(np.argmax(fall))
    return first + int(np.argmax(part[: trough + 1])), first + trough


def _top_at(time_h: Floats, smooth: Floats, unit_on_h: float, first: int, last: int, top: int) -> int:
    """Highest level of the peak that contains the unit-on mark, or the top of the greatest fall if that is later."""
    on = min(max(int(np.searchsorted(time_h, unit_on_h)), first), last)
    if time_h[top] > unit_on_h and smooth[on] < SAME_HILL_SHARE * smooth[top]:
        return top
    until = min(int(np.searchsorted(time_h, unit_on_h + SMOKE_AFTER_ON_MIN / 60 + ROUNDING_H, side="right")), last + 1)
    until = max(until, on + 1)
    back = smooth[first:until][::-1]
    highest = np.maximum.accumulate(back)
    other = np.flatnonzero((back < SAME_HILL_SHARE * highest) & (np.arange(back.size) >= until - 1 - on))
    stop = int(other[0]) if other.size else back.size
    return until - 1 - int(np.argmax(back[: max(stop, 1)]))


def _peak_near(time_h: Floats, smooth: Floats, first: int, top: int) -> int:
    """First time near the top's level on the same peak, then the highest reading within the next minutes."""
    level = float(smooth[top])
    low = np.flatnonzero(smooth[first:top] < SAME_HILL_SHARE * level)
    from_place = first + int(low[-1]) + 1 if low.size else first
    near = from_place + int(np.argmax(smooth[from_place : top + 1] >= NEAR_PEAK_SHARE * level))
    until = int(np.searchsorted(time_h, time_h[near] + PEAK_SEARCH_MIN / 60 + ROUNDING_H, side="right"))
    return near + int(np.argmax(smooth[near : max(min(until, top + 1), near + 1)]))


def _smoke_start_index(smooth: Floats, first: int, peak: int) -> int | None:
    """Last low reading before the peak; None where the log starts with smoke in the room."""
    before = smooth[first:peak]
    if before.size == 0:
        return None
    low, high = float(before.min()), float(smooth[peak])
    if high <= low or low > SAME_HILL_SHARE * high:
        return None
    return first + int(np.flatnonzero(before <= low + LOW_SHARE * (high - low))[-1])


def _rise_index(smooth: Floats, peak: int, last: int, limit: float, interval_h: float) -> int | None:
    """Index of the lowest level before the first lasting rise by more than the limit and a share of that level.

    A dip shorter than two minutes does not count, and a rise has to last for three readings.
    """
    part = smooth[peak : last + 1]
    if limit <= 0 or float((part - np.minimum.accumulate(part)).max()) <= limit:
        return None  # not even over the lowest single reading
    low_readings = max(round(LOW_LASTS_MIN / 60 / interval_h), 1) if interval_h > 0 else 1
    # the highest of the next two minutes, so that only a lasting low counts
    ahead = _highest_ahead(part, low_readings)
    lowest = np.minimum.accumulate(ahead)
    high = part - lowest > np.maximum(limit, RISE_OVER_LOWEST * lowest)
    lasting = high[:-2] & high[1:-1] & high[2:] if high.size >= 3 else high
    if not bool(lasting.any()):
        return None
    at = int(np.argmax(lasting))
    return peak + min(int(np.argmin(ahead[: at + 1])) + low_readings - 1, at)


def _highest_ahead(values: Floats, count: int) -> Floats:
    """Highest of each value and those that follow it, `count` in all; an even number begins one value earlier.

    >>> _highest_ahead(np.array([3.0, 1.0, 2.0, 0.0]), 3)
    array([3., 2., 2., 0.])
    """
    before = 1 - count % 2
    highest: Floats = np.concatenate([values[:1].repeat(before), values, values[-1:].repeat(count - 1 - before)])
    width = 1
    while 2 * width <= count:
        highest = np.maximum(highest[:-width], highest[width:])
        width *= 2
    return np.maximum(highest[: values.size], highest[count - width : count - width + values.size])
