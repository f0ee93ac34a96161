"""Uncertainty of a level read from the smoothed curve, and of the time at which it crosses a level."""

import math
from dataclasses import dataclass

import numpy as np

from app.compute.decay.phases import ROUNDING_H, SMOOTHING_MIN
from app.compute.signal.autocorrelation import lag_one_autocorrelation
from app.compute.signal.fitting import scaled_inverse
from app.compute.signal.noise import Floats

# All: common practice, no source. The neighbourhood must be longer than the correlation time of the noise, and a
# parabola through the logarithms follows a decay while the level changes by no more than this factor to either side.
NEIGHBOURHOOD_MIN = 15.0  # [min]
LARGEST_FACTOR = 3.0
FEWEST_NEIGHBOURS = 7
_PARAMETERS = 3  # of the parabola


@dataclass(frozen=True, slots=True)
class LocalNoise:
    """Uncertainty and slope of the smoothed level at one moment.

    uncertainty : standard uncertainty of the smoothed level [unit of the channel]
    slope_per_h : of the level at the moment, negative where it falls [unit of the channel per h]
    """

    uncertainty: float
    slope_per_h: float


def local_noise(time_h: Floats, levels: Floats, smooth: Floats, at_h: float, step: float) -> LocalNoise | None:
    r"""Noise of the smoothed level at a moment, from the readings of the run around it.

    .. math:: u^2 = \frac{s^2}{n'} + \frac{b^2}{3} + \frac{d^2}{12},
              \quad n' = \max\left(1, n\,\frac{1-r}{1+r}\right)

    with s the residual standard deviation of the readings about a parabola (through their logarithms where all are
    above zero), r their lag-one autocorrelation, n the readings that the smoothing averages, b the distance of the
    smoothed level from the parabola (at a sharp peak the smoothing cuts the top off) and d the display's step, both
    as rectangles [1]_. n' is the effective number of independent values of a first-order autoregressive series; r is
    raised by (1 + 4r)/N, its approximate small-sample bias (read second-hand).

    Parameters
    time_h, levels, smooth : readings from unit on to the end, and the smoothed curve there [h], [unit of the channel]
    at_h : the moment, inside the run [h]
    step : of the display [unit of the channel]
    Returns  None where fewer than seven readings, or readings of one time alone, lie around it
    Notes    Noise with a longer correlation time than the neighbourhood (drift of the logger) is not detected.

    References
    .. [1] JCGM 100:2008, 4.3.7.

    >>> time = np.arange(0.0, 1.0, 1 / 360)
    >>> level = 100 * np.exp(-2 * time)
    >>> round(local_noise(time, level, level, 0.5, 0.0).slope_per_h, 2)
    -73.58
    """
    near = _neighbourhood(time_h, smooth, at_h)
    time, level = time_h[near], levels[near]
    if time.size < FEWEST_NEIGHBOURS or not time[-1] > time[0]:
        return None
    span = float(time[-1] - time[0])
    is_log = bool((level > 0).all())
    target = np.log(level) if is_log else level
    scaled = (time - at_h) / span
    powers = np.array([np.ones_like(scaled), scaled, scaled * scaled])
    best = scaled_inverse(powers @ powers.T) @ (powers @ target)
    left = target - best @ powers
    here = math.exp(best[0]) if is_log else float(best[0])
    by_log = here if is_log else 1.0  # from logarithms back to levels, to first order
    spread = by_log * math.sqrt(float(left @ left) / (time.size - _PARAMETERS))
    found = lag_one_autocorrelation(left)
    correlation = min(max(found + (1 + 4 * found) / time.size, 0.0), 0.99)
    averaged = max(1.0, SMOOTHING_MIN / 60 / (span / (time.size - 1)))
    counting = max(1.0, averaged * (1 - correlation) / (1 + correlation))
    cut_off = float(np.interp(at_h, time_h, smooth)) - here
    variance = spread**2 / counting + cut_off**2 / 3 + step**2 / 12
    return LocalNoise(math.sqrt(variance), by_log * float(best[1]) / span)


def _neighbourhood(time_h: Floats, smooth: Floats, at_h: float) -> slice:
    """Indices of the readings around a moment: a fixed time, cut where the level differs too much, at least seven."""
    if time_h.size < FEWEST_NEIGHBOURS:
        return slice(0, time_h.size)
    half_h = NEIGHBOURHOOD_MIN / 60 / 2
    # near the ends of the run the neighbourhood keeps its length and extends to one side
    middle = min(max(at_h, time_h[0] + half_h), max(time_h[-1] - half_h, time_h[0] + half_h))
    low, high = np.searchsorted(time_h, [middle - half_h - ROUNDING_H, middle + half_h + ROUNDING_H])
    here = min(int(np.searchsorted(time_h, at_h)), time_h.size - 1)
    level = float(smooth[here])
    start, stop = min(int(low), here), max(int(high), here)
    near = smooth[start:stop]
    other = (near > LARGEST_FACTOR * level) | (near < level / LARGEST_FACTOR)
    before, after = np.flatnonzero(other[: here - start]), np.flatnonzero(other[here - start :])
    first = int(low) + int(before[-1]) + 1 if before.size else int(low)
    last = here + int(after[0]) if after.size else int(high)
    missing = FEWEST_NEIGHBOURS - (last - first)
    if missing > 0:
        first = min(max(first - math.ceil(missing / 2), 0), time_h.size - FEWEST_NEIGHBOURS)
        last = first + FEWEST_NEIGHBOURS
    return slice(first, last)


def crossing_uncertainty_min(
    noise: LocalNoise | None, clear_uncertainty: float, open_h: float, unit_on_uncertainty_h: float = 0.0
) -> float | None:
    r"""Standard uncertainty of the time from unit on to a crossing [min].

    .. math:: u_t^2 = \frac{u_C^2 + u_L^2}{\dot C^2} + \frac{\Delta^2}{12} + u_{on}^2

    with u_C the uncertainty of the level, u_L that of the clear level (zero where it is a fixed number), Ċ the slope of
    the level, Δ the time in which the moment of a reading lies (the interval, if the logger does not say where its
    stamp is), a rectangle, and u_on the uncertainty of unit on.

    Returns  None where the noise is not known, or where the level does not fall at the crossing

    >>> round(crossing_uncertainty_min(LocalNoise(1.0, -60.0), 0.0, 0.0), 3)
    1.0
    """
    if noise is None or noise.slope_per_h >= 0:
        return None
    of_levels_h = math.hypot(noise.uncertainty, clear_uncertainty) / -noise.slope_per_h
    return 60 * math.hypot(of_levels_h, open_h / math.sqrt(12), unit_on_uncertainty_h)
