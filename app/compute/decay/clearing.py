"""Time to clear: first sustained crossing of the clear level, or a lower bound where it was not reached."""

import math
from itertools import zip_longest

import numpy as np

from app.compute.decay.result import ClearLevel, DecayFit, TimeToClear
from app.compute.signal.noise import Floats
from app.compute.statistics.measured import Measured

SUSTAINED_MIN = 2.0  # [min] the level has to stay at or below the clear level this long; common practice, no source

KINDS = ("absolute", "share_of_start", "background")


def clear_level_value(clear_level: ClearLevel, start_level: float, background_level: float) -> float:
    """The clear level in the unit of the channel.

    >>> clear_level_value(ClearLevel("share_of_start", 0.05), 400.0, 4.0)
    20.0
    """
    if clear_level.kind not in KINDS:
        raise ValueError(f"The clear level is of kind {clear_level.kind!r}; choose one of {', '.join(KINDS)}.")
    if not math.isfinite(clear_level.value) or clear_level.value < 0:
        raise ValueError(f"The clear level is {clear_level.value}; it must be a number of zero or above.")
    if clear_level.kind == "share_of_start":
        return clear_level.value * start_level
    if clear_level.kind == "background":
        return background_level + clear_level.value
    return clear_level.value


def first_sustained_crossing_h(
    time_h: Floats, smooth: Floats, level: float, from_h: float, end_h: float
) -> float | None:
    """Time at which the smoothed level falls to `level` and stays there, interpolated; None if it never does [h]."""
    inside = slice(int(time_h.searchsorted(from_h - 1e-9)), int(time_h.searchsorted(end_h + 1e-9, side="right")))
    time, value = time_h[inside], smooth[inside]
    if time.size == 0:
        return None
    above = value > level
    turns = (np.flatnonzero(above[1:] != above[:-1]) + 1).tolist()
    edges = turns if above[0] else [0, *turns]
    # where the level falls to the clear level, and where it next rises above it
    for here, rises in zip_longest(edges[::2], edges[1::2]):
        lasts_h = float(time[-1 if rises is None else rises] - time[here])
        # a single low reading at the end of the log does not show that the level stays low
        if lasts_h >= SUSTAINED_MIN / 60 - 1e-9 or (rises is None and time.size - here >= 3):
            break
    else:
        return None
    if here == 0:
        return float(time[0])
    high, low = float(value[here - 1]), float(value[here])
    share = (high - level) / (high - low) if high > low else 1.0
    return float(time[here - 1] + share * (time[here] - time[here - 1]))


def predicted_crossing_min(fit: DecayFit, level: float) -> Measured | None:
    """Minutes from unit on at which the fitted curve reaches `level`; None where it never does, or where the 95 %
    interval of the time reaches zero, as for a level close to the background.

    With D = (level − Cb)/A, t = −ln(D)/k; the uncertainty follows from the covariance of (Cb, A, k).
    """
    if fit.decay_rate is None or fit.background is None or fit.amplitude is None or fit.decay_rate.value <= 0:
        return None
    excess, amplitude, rate = level - fit.background.value, fit.amplitude.value, fit.decay_rate.value
    if excess <= 0 or amplitude <= 0 or excess >= amplitude:
        return None
    time_h = -math.log(excess / amplitude) / rate
    gradient = np.array([1 / (excess * rate), 1 / (amplitude * rate), -time_h / rate])
    variance = float(gradient @ np.array(fit.covariance) @ gradient)
    predicted = Measured(60 * time_h, 60 * math.sqrt(max(variance, 0.0)), fit.decay_rate.degrees_of_freedom)
    return predicted if predicted.low_95 > 0 else None


def time_to_clear(
    time_h: Floats, smooth: Floats, level: float, unit_on_h: float, end_h: float, fit: DecayFit | None
) -> TimeToClear:
    """Time to clear from unit on [min], right-censored at the end of the run where the level was not reached."""
    crossing = first_sustained_crossing_h(time_h, smooth, level, unit_on_h, end_h)
    predicted = predicted_crossing_min(fit, level) if fit is not None else None
    if crossing is None:
        return TimeToClear(False, None, max(0.0, 60 * (end_h - unit_on_h)), predicted, level)
    return TimeToClear(True, max(0.0, 60 * (crossing - unit_on_h)), None, predicted, level)
