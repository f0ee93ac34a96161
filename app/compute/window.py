"""The part of a trial that is fitted: from the end of mixing to where the excess sinks into the floor."""

import math
from dataclasses import dataclass

import numpy as np

from app.compute.noise import Floats

SETTLING_MIN = 2.0  # [min] left out after the later of peak and unit on; common practice, no source
RESPONSE_TIMES = 3.0  # response times of the logger left out: 5 % of a first-order lag is left after three
FLOOR_STEPS = 3.0  # steps of the display that the excess has to exceed; common practice, no source
FLOOR_SHARE = 0.01  # share of the excess at the window's start that the excess has to exceed
FEWEST_READINGS = 4  # three parameters and one degree of freedom


@dataclass(frozen=True, slots=True)
class Window:
    """Readings that are fitted, as places in the arrays of the channel, and the window's ends [h]."""

    places: np.ndarray[tuple[int], np.dtype[np.int64]]
    start_h: float
    end_h: float
    floor: float


def window_start_h(unit_on_h: float, peak_h: float, response_time_s: float | None) -> float:
    """Later of unit on and peak, plus 2 min for mixing, plus three response times of the logger [h]."""
    settling_h = max(SETTLING_MIN / 60, RESPONSE_TIMES * (response_time_s or 0.0) / 3600)
    return max(unit_on_h, peak_h) + settling_h


def excess_floor(step: float, excess_at_start: float) -> float:
    """Excess over the background below which a reading says little about the rate."""
    return max(FLOOR_STEPS * step, FLOOR_SHARE * excess_at_start)


def time_to_floor_h(amplitude: float, rate_per_h: float, floor: float) -> float:
    """Hours until A exp(−k t) falls to the floor; infinite where it never does."""
    if rate_per_h <= 0 or amplitude <= floor:
        return math.inf
    return math.log(amplitude / floor) / rate_per_h


def saturated(levels: Floats, saturation_level: float | None) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    """Readings at or above the level at which the detector saturates; none where that level is unknown."""
    if saturation_level is None:
        return np.zeros(levels.size, dtype=bool)
    return levels >= saturation_level
