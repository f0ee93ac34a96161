"""Phases of a trial found from the readings: start of smoke, peak, unit on, end."""

from dataclasses import dataclass

import numpy as np

from app.compute.decay_result import Marks
from app.compute.noise import Floats, median_of_three, moving_average

SMOOTHING_MIN = 1.0  # [min] levels are read off a moving average of this width; common practice, no source
LOW_SHARE = 0.10  # of the rise: below it the room counts as not yet smoked
NEAR_PEAK_SHARE = 0.95  # of the peak: the first time there opens the search for the peak
PEAK_SEARCH_MIN = 5.0  # [min] length of that search; noise on a slow decay would place the highest reading anywhere


@dataclass(frozen=True, slots=True)
class Phases:
    """Phases of one trial [h on the log's clock]; before_smoke marks the readings before the smoke."""

    smoke_start_h: float | None
    peak_h: float
    unit_on_h: float
    end_h: float
    unit_on_found: bool
    before_smoke: slice
    smooth: Floats


def find_phases(time_h: Floats, levels: Floats, marks: Marks) -> Phases:
    """Phases of a trial; marks that a person set stand, the rest is found. Needs at least one reading."""
    step_h = float(np.median(np.diff(time_h))) if time_h.size > 1 else 0.0
    width = int(np.clip(SMOOTHING_MIN / 60 / step_h if step_h > 0 else 1, 1, 181)) // 2 * 2 + 1
    smooth = moving_average(median_of_three(levels), max(width, 3))
    end_h = float(time_h[-1]) if marks.end_h is None else min(marks.end_h, float(time_h[-1]))
    inside = np.flatnonzero(time_h <= end_h)
    last = int(inside[-1]) if inside.size else 0
    first = 0
    if marks.smoke_start_h is not None:
        first = min(int(np.searchsorted(time_h, marks.smoke_start_h)), last)
    elif marks.unit_on_h is not None:
        first = 0
    peak = _peak_index(time_h, smooth, first, last)
    start = _smoke_start_index(smooth, first, peak) if marks.smoke_start_h is None else first
    smoke_start_h = float(time_h[start]) if start is not None else None
    if marks.smoke_start_h is not None:
        smoke_start_h = marks.smoke_start_h
    found = marks.unit_on_h is None
    unit_on_h = float(time_h[peak]) if marks.unit_on_h is None else marks.unit_on_h
    return Phases(
        smoke_start_h=smoke_start_h,
        peak_h=float(time_h[peak]),
        unit_on_h=unit_on_h,
        end_h=end_h,
        unit_on_found=found,
        before_smoke=slice(0, start if start is not None else 0),
        smooth=smooth,
    )


def _peak_index(time_h: Floats, smooth: Floats, first: int, last: int) -> int:
    part = smooth[first : last + 1]
    near = first + int(np.argmax(part >= NEAR_PEAK_SHARE * part.max())) if part.max() > 0 else first
    until = int(np.searchsorted(time_h, time_h[near] + PEAK_SEARCH_MIN / 60, side="right"))
    return near + int(np.argmax(smooth[near : max(min(until, last + 1), near + 1)]))


def _smoke_start_index(smooth: Floats, first: int, peak: int) -> int | None:
    before = smooth[first:peak]
    if before.size == 0:
        return None
    low, high = float(before.min()), float(smooth[peak])
    if low > 0.5 * high:
        return None
    quiet = np.flatnonzero(before <= low + LOW_SHARE * (high - low))
    return first + int(quiet[-1])
