"""Held values: repeats of the last value until the sensor is read again. They are not readings.

A log may have a row per minute while the sensor wakes every 16 minutes. The channels of one sensor are examined
together, row by row. A change of any of them is an event; events less than a quarter of a period apart are one
wake-up. The values are held if wake-ups occur at multiples of one period far more often than by chance.
A sensor with coarse steps on a plateau also repeats its value, but does not change at regular times.

Of a wake-up with several values only the last counts, because the sensor settles during the others.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from app.reading_files.headers.channels import channel, split_detector

FEWEST_WAKE_UPS = 6
LARGEST_CHANCE = 1e-6
SMALLEST_SHARE = 0.8
MOST_MISSED = 8  # consecutive wake-ups that may give the same values
MOST_ROWS_THAT_CHANGE = 0.6


@dataclass(frozen=True, slots=True)
class Held:
    """What was found for the channels of one sensor.

    wake_ups : first and last row at which the values of a wake-up change
    period_rows : rows from one wake-up to the next
    """

    wake_ups: tuple[tuple[int, int], ...]
    period_rows: int


def find_held(levels: list[NDArray[np.float64]]) -> Held | None:
    """Detects held values in the channels of one sensor; None if there are none.

    levels : the channels, rows in order of time, without rows in which all are empty
    """
    rows = len(levels[0])
    if rows < 3 * FEWEST_WAKE_UPS:
        return None
    changed = np.zeros(rows - 1, dtype=bool)
    for values in levels:
        changed |= _changes(values)
    events = np.flatnonzero(changed) + 1
    if not FEWEST_WAKE_UPS <= len(events) <= MOST_ROWS_THAT_CHANGE * rows:
        return None
    period = _period(events)
    if period is None:
        return None
    starts, ends = _wake_ups(events, period)  # values before the first wake-up were read at an unknown time
    return Held(tuple(zip(starts.tolist(), ends.tolist(), strict=True)), period)


def _changes(values: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Whether each value differs from the one before it."""
    same: NDArray[np.bool_] = (values[1:] == values[:-1]) | (np.isnan(values[1:]) & np.isnan(values[:-1]))
    return ~same


def _wake_ups(events: NDArray[np.intp], period: int) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """First and last event of each wake-up."""
    apart = np.diff(events) > max(1, period // 4)
    return events[np.concatenate(([True], apart))], events[np.concatenate((apart, [True]))]


def _period(events: NDArray[np.intp]) -> int | None:
    """The period at whose multiples wake-ups occur, if any."""
    gaps = np.diff(events)
    guesses = {int(np.median(gaps[gaps > short])) for short in (0, 1, 3) if (gaps > short).any()}
    for guess in sorted(guesses, reverse=True):
        starts, _ = _wake_ups(events, guess)
        spacing = np.diff(starts)
        if len(spacing) < FEWEST_WAKE_UPS - 1:
            continue
        period = int(np.median(spacing))
        if period < 2:
            continue
        tolerance = period // 12  # 1 row at 16
        multiple = np.maximum(1, np.rint(spacing / period))
        close = np.abs(spacing - multiple * period) <= tolerance * np.minimum(multiple, 3)
        close &= multiple <= MOST_MISSED
        chance = min(1.0, (2 * tolerance + 1) / period)
        if close.mean() >= SMALLEST_SHARE and _tail(len(spacing), int(close.sum()), chance) < LARGEST_CHANCE:
            return period
    return None


def _tail(trials: int, hits: int, chance: float) -> float:
    """Probability of at least this many hits in independent trials (Hoeffding's bound for many trials)."""
    if chance >= 1.0 or hits <= trials * chance:
        return 1.0
    if trials > 200:
        return math.exp(-2 * trials * (hits / trials - chance) ** 2)
    return sum(math.comb(trials, k) * chance**k * (1 - chance) ** (trials - k) for k in range(hits, trials + 1))


def leave_out_held(
    levels: dict[str, NDArray[np.float64]], interval_s: float
) -> tuple[dict[str, NDArray[np.float64]], dict[str, int], list[str]]:
    """The levels with held values as not-a-number, the number held per channel, and sentences on it."""
    sensors: dict[str, list[str]] = {}
    for name in levels:
        base, letter = split_detector(name)
        if base.startswith("pm"):
            sensors.setdefault(f"mass {letter}", []).append(name)
        elif base.startswith("count_"):
            sensors.setdefault(f"number {letter}", []).append(name)
        elif base in ("voc", "co2"):
            sensors[name] = [name]
    counts: dict[str, int] = {}
    notes: list[str] = []
    for names in sensors.values():
        rows = np.flatnonzero(~np.all([np.isnan(levels[name]) for name in names], axis=0))
        held = find_held([levels[name][rows] for name in names]) if len(rows) else None
        if held is None:
            continue
        settling = 0
        for name in names:
            values = levels[name][rows]
            true_rows = _true_rows(values, held)
            changed = np.concatenate(([False], _changes(values))) & ~true_rows
            counts[name] = int((~np.isnan(values) & ~true_rows & ~changed).sum())
            settling = max(settling, int(changed.sum()))
            kept = np.full(len(levels[name]), np.nan)
            kept[rows[true_rows]] = values[true_rows]
            levels = {**levels, name: kept}
        more = f", and {settling} values while the sensor settled" if settling else ""
        minutes = held.period_rows * interval_s / 60
        notes.append(
            f"The logger repeats its last value of {', '.join(channel(name).label for name in names)}: a true reading "
            f"comes about every {minutes:.3g} min. {counts[names[0]]} repeated values were excluded{more}; "
            f"{len(held.wake_ups)} readings remain."
        )
    return levels, counts, notes


def _true_rows(values: NDArray[np.float64], held: Held) -> NDArray[np.bool_]:
    """One row per wake-up: the last change of this channel, or the end of the wake-up if it did not change."""
    changes = np.flatnonzero(_changes(values)) + 1
    true_rows = np.zeros(len(values), dtype=bool)
    for start, end in held.wake_ups:
        place = int(np.searchsorted(changes, end, side="right")) - 1
        true_rows[changes[place] if place >= 0 and changes[place] >= start else end] = True
    return true_rows
