"""Rows into rising order of time: newest first, steps back, times that come twice."""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

SMALL_STEP_BACK_S = 60.0
MOST_STRETCHES = 50


@dataclass(frozen=True, slots=True)
class RisingOrder:
    """Which rows to take, in which order.

    rows : indices of rows in rising time, equal times beside each other
    left_out : rows that fall into a time already logged, after the clock was put back
    notes : what was found
    """

    rows: NDArray[np.intp]
    left_out: NDArray[np.intp]
    notes: tuple[str, ...]


def is_newest_first(times_us: NDArray[np.int64]) -> bool:
    """Whether most steps go back in time."""
    steps = np.diff(times_us)
    return bool((steps < 0).sum() > (steps > 0).sum())


def rising_order(times_us: NDArray[np.int64]) -> RisingOrder:
    """Rows in rising order of time.

    A small step back (at most a minute, or five intervals) is a clock that was corrected: the rows change places.
    Whole stretches that do not overlap are put in order. Where a stretch overlaps what was logged before, the clock
    was put back by more: its rows up to the latest time logged before are left out, since nothing tells which
    reading was true at that time.
    """
    count = len(times_us)
    back = np.flatnonzero(np.diff(times_us) < 0)
    everything = np.arange(count)
    if not len(back):
        return RisingOrder(everything, everything[:0], ())
    steps = np.diff(times_us)
    usual = float(np.median(steps[steps > 0])) if (steps > 0).any() else 0.0
    small = max(SMALL_STEP_BACK_S * 1e6, 5 * usual)
    largest = float(-steps[back].min())
    notes: list[str] = []
    if largest <= small:
        notes.append(f"{_steps(len(back))} back in time by at most {largest / 1e6:g} s: rows were put in order.")
        return RisingOrder(np.argsort(times_us, kind="stable"), everything[:0], tuple(notes))
    keep = np.ones(count, dtype=bool)
    edges = np.concatenate(([0], back + 1, [count]))
    taken: list[tuple[int, int]] = []
    for start, stop in pairwise(edges):
        low, high = int(times_us[start]), int(times_us[stop - 1])
        latest = max((other for first, other in taken if first <= high), default=None)
        if latest is not None and latest >= low and (latest - low > small or len(edges) > MOST_STRETCHES):
            keep[start:stop] = times_us[start:stop] > latest
        if keep[start:stop].any():
            kept = times_us[start:stop][keep[start:stop]]
            taken.append((int(kept[0]), int(kept[-1])))
    rows = everything[keep]
    left_out = everything[~keep]
    notes.append(f"{_steps(len(back))} back in time, the largest by {largest / 1e6:g} s.")
    if len(left_out):
        notes.append(f"{len(left_out)} rows fall into a time that was logged before and were left out.")
    return RisingOrder(rows[np.argsort(times_us[rows], kind="stable")], left_out, tuple(notes))


def _steps(number: int) -> str:
    return "One step goes" if number == 1 else f"{number} steps go"


def merge_equal_times(
    times_us: NDArray[np.int64], levels: dict[str, NDArray[np.float64]]
) -> tuple[NDArray[np.int64], dict[str, NDArray[np.float64]], int]:
    """One row a time: the mean of the readings that a time has; and how many rows went into another."""
    first = np.concatenate(([True], np.diff(times_us) != 0))
    extra = int(len(times_us) - first.sum())
    if not extra:
        return times_us, levels, 0
    group = np.cumsum(first) - 1
    groups = int(group[-1]) + 1
    merged = {}
    for name, values in levels.items():
        there = ~np.isnan(values)
        number = np.bincount(group, weights=there, minlength=groups)
        total = np.bincount(group, weights=np.where(there, values, 0.0), minlength=groups)
        merged[name] = np.where(number > 0, total / np.maximum(number, 1), np.nan)
    return times_us[first], merged, extra
