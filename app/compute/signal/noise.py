"""Noise of a logger's readings: display step, spread from reading to reading, and its two parts."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class NoiseModel:
    """Standard deviations of the autocorrelated part and of the independent part of each value.

    spacing : distance of each value to the one before, in sampling steps: the correlation over it is φ^spacing
    """

    correlated: Floats
    independent: Floats
    spacing: Floats


def resolution_step(levels: Floats) -> float:
    """Smallest step between neighbouring readings, the display step of the logger. 0 where all are equal.

    >>> resolution_step(np.array([12.0, 12.0, 11.0, 9.0]))
    1.0
    """
    if levels.size < 2:
        return 0.0
    steps = np.abs(levels[1:] - levels[:-1])
    # a change of unit leaves rounding errors of about 1e-15 of the level; those are not steps
    least = 1e-9 * max(float(levels.max()), -float(levels.min()))
    smallest = float(np.where(steps > least, steps, math.inf).min())
    return smallest if smallest < math.inf else 0.0


def median_of_three(levels: Floats) -> Floats:
    """Replaces each reading by the median of itself and its neighbours: removes single spikes, keeps steps."""
    if levels.size < 3:
        return levels.copy()
    smooth = levels.copy()
    before, here, after = levels[:-2], levels[1:-1], levels[2:]
    smooth[1:-1] = np.maximum(np.minimum(before, here), np.minimum(np.maximum(before, here), after))
    return smooth


def evenly_spaced(low: float, high: float, number: int) -> Floats:
    """The values of numpy.linspace, whose own checks take several times as long for a few numbers.

    >>> evenly_spaced(1.0, 2.0, 3)
    array([1. , 1.5, 2. ])
    """
    values: Floats = low + (high - low) / (number - 1) * np.arange(float(number))
    values[-1] = high
    return values


def median(values: Floats) -> float:
    """The median as numpy.median gives it, whose own checks take longer than the rest for a few hundred values.

    >>> median(np.array([3.0, 1.0, 2.0])), median(np.array([4.0, 1.0])), median(np.array([1.0, math.nan]))
    (2.0, 2.5, nan)
    """
    if not values.size:
        return math.nan
    half = values.size // 2
    lower = half - 1 + values.size % 2
    ordered = np.partition(values, (lower, half, values.size - 1))
    if math.isnan(ordered[-1]):
        return math.nan
    return float((ordered[lower] + ordered[half]) / 2)


def quantile(values: Floats, share: float) -> float:
    """The quantile as numpy.quantile interpolates it; its own checks take as long as the rest.

    >>> quantile(np.array([4.0, 1.0, 2.0]), 0.25)
    1.5
    """
    place = share * (values.size - 1)
    lower = int(place)
    upper = min(lower + 1, values.size - 1)
    ordered = np.partition(values, (lower, upper))
    return float(ordered[lower] + (place - lower) * (ordered[upper] - ordered[lower]))


def moving_average(levels: Floats, width: int) -> Floats:
    """Centred moving average over an odd number of readings, shortened near the ends."""
    width = min(int(width), levels.size)
    if width < 2:
        return levels.copy()
    half, size = width // 2, levels.size
    total = np.zeros(size + 1)
    levels.cumsum(out=total[1:])
    averaged = np.empty(size)
    inside = max(size - 2 * half, 0)  # readings that have `half` neighbours on both sides
    averaged[half : half + inside] = (total[2 * half + 1 :] - total[:inside]) / (2 * half + 1)
    ends = np.concatenate([np.arange(min(half, size)), np.arange(max(half + inside, half), size)])
    low, high = np.maximum(ends - half, 0), np.minimum(ends + half + 1, size)
    averaged[ends] = (total[high] - total[low]) / (high - low)
    return averaged
