"""The fit window: from the end of mixing until the excess reaches the floor."""

import math

import numpy as np
from numpy.typing import NDArray

from app.compute.signal.noise import Floats

Places = NDArray[np.int64]

SETTLING_MIN = 2.0  # [min] left out after the later of peak and unit on; common practice, no source
RESPONSE_TIMES = 3.0  # response times of the logger left out: 5 % of a first-order lag is left after three
FLOOR_STEPS = 5.0  # steps of the display; the excess has to be above; common practice, no source
FLOOR_SHARE = 0.01  # share of the excess at the window's start; the excess has to be above
FEWEST_READINGS = 4  # three parameters and one degree of freedom
KEPT_READINGS = 15  # the floor never cuts the window to fewer readings: a fast decay with slow sampling needs its tail
PLATEAU_READINGS = 5  # equal readings in a row at the highest level that suggest saturation
PLATEAU_RATIO = 5.0  # the plateau has to last this many times longer than the display steps after it


def window_start_h(unit_on_h: float, peak_h: float, response_time_s: float | None) -> float:
    """Later of unit on and peak, plus 2 min for mixing or three response times of the logger if longer [h].

    >>> round(60 * window_start_h(0.5, 0.4, 100.0), 6)
    35.0
    """
    settling_h = max(SETTLING_MIN / 60, RESPONSE_TIMES * (response_time_s or 0.0) / 3600)
    return max(unit_on_h, peak_h) + settling_h


def excess_floor(step: float, excess_at_start: float) -> float:
    """Excess over the background below which a reading adds little to the rate."""
    return max(FLOOR_STEPS * step, FLOOR_SHARE * excess_at_start)


def time_to_floor_h(amplitude: float, rate_per_h: float, floor: float) -> float:
    """Hours until A exp(−k t) falls to the floor; infinite where it never does.

    >>> round(time_to_floor_h(300.0, 3.0, 3.0), 4)
    1.5351
    """
    if rate_per_h <= 0 or amplitude <= floor:
        return math.inf
    return math.log(amplitude / floor) / rate_per_h


def ceiling_of(levels: Floats) -> float | None:
    """Level at which a detector seems saturated: a plateau at the highest reading.

    A slow decay also repeats each display step for a while, so the plateau has to last several times
    longer than the steps after it. None where there is no such plateau.
    """
    if levels.size < PLATEAU_READINGS + 2:
        return None
    highest = float(levels.max())
    changes = np.flatnonzero(np.diff(levels) != 0)
    starts = np.concatenate([[0], changes + 1])
    lengths = np.diff(np.append(starts, levels.size))
    at_top = levels[starts] == highest
    longest = int(np.argmax(np.where(at_top, lengths, 0)))
    following = lengths[longest + 1 : longest + 6]
    if lengths[longest] < PLATEAU_READINGS or following.size == 0:
        return None
    return highest if lengths[longest] >= PLATEAU_RATIO * float(np.median(following)) else None
