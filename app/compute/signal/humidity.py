"""Over-reading of optical sensors in humid air: droplets of salt and smoke take up water and grow."""

import math
from dataclasses import dataclass

import numpy as np

from app.compute.signal.noise import Floats, median

CORRECTION_SLOPE = 0.24  # Nilson et al., Atmos. Meas. Tech. 15, 3315, 2022: PM = PM_raw/(1 + 0.24/(100/RH − 1))
CORRECTION_RANGE_PCT = (30.0, 70.0)  # the same source limits the humidity to this range
# Petters and Kreidenweis, Atmos. Chem. Phys. 7, 1961, 2007: organic species 0.01 to 0.5, highly active salts 0.5 to
# 1.4. Smoke belongs to the organics; the residue of sprayed water to the salts.
ORGANIC_KAPPA = 0.5
PARTICLE_DENSITY = 1.65  # [g/cm³] of the mass form of the growth (from memory, not verified)
MOST_HUMID_PCT = 95.0  # the growth formula diverges above it


@dataclass(frozen=True, slots=True)
class HumidityBias:
    """Effect of a humidity change on a decay rate from an optical sensor.

    start_pct, end_pct : relative humidity where the fit window starts and ends [%]
    factor, largest_factor : reading at the end over that of the same dry particles at the start's humidity,
        by the 2022 correction, and with the growth of the most water-loving organics
    rate_bias_per_h, largest_rate_bias_per_h : true rate minus measured rate [1/h]
    """

    start_pct: float
    end_pct: float
    factor: float
    largest_factor: float
    rate_bias_per_h: float
    largest_rate_bias_per_h: float

    @property
    def uncertainty_per_h(self) -> float:
        """Root mean square of a bias that is uniform between zero and the largest. [1/h]"""
        return abs(self.largest_rate_bias_per_h) / math.sqrt(3)


def reading_over_dry(relative_humidity_pct: float) -> float:
    """Factor by which an optical reading exceeds the dry mass, 1 + 0.24/(100/RH − 1), RH limited to 30 to 70 %. [1]_

    References
    .. [1] Nilson et al., Atmos. Meas. Tech. 15, 3315, 2022.

    >>> round(reading_over_dry(60.0), 6), round(reading_over_dry(80.0), 6)
    (1.36, 1.56)
    """
    low, high = CORRECTION_RANGE_PCT
    humidity = min(max(relative_humidity_pct, low), high)
    return 1 + CORRECTION_SLOPE / (100 / humidity - 1)


def mass_growth(relative_humidity_pct: float, kappa: float) -> float:
    """Wet over dry mass, 1 + (κ/1.65)/(100/RH − 1); the form from memory, κ from the ranges above.

    >>> round(mass_growth(50.0, 0.396), 3)
    1.24
    """
    humidity = min(max(relative_humidity_pct, 0.0), MOST_HUMID_PCT)
    return 1 + (kappa / PARTICLE_DENSITY) / (100 / humidity - 1) if humidity > 0 else 1.0


def diameter_growth(relative_humidity_pct: float, kappa: float) -> float:
    r"""Wet over dry diameter of a particle, (1 + κ a/(1 − a))^(1/3) with a = RH/100. [1]_

    References
    .. [1] Petters and Kreidenweis, Atmos. Chem. Phys. 7, 1961-1971, 2007 (κ-Köhler, without the curvature term).

    >>> round(diameter_growth(80.0, 0.61), 6)
    1.509568
    """
    if not 0 <= relative_humidity_pct < 100:
        raise ValueError(f"The relative humidity is {relative_humidity_pct} %; it must be from 0 to below 100 %.")
    activity = relative_humidity_pct / 100
    return float((1 + kappa * activity / (1 - activity)) ** (1 / 3))


def readings_between(time_h: Floats, values: Floats, start_h: float, end_h: float) -> Floats:
    """The readings from start to end, both included, without missing ones. `time_h` is ascending.

    >>> readings_between(np.array([0.0, 1.0, 2.0, 3.0]), np.array([5.0, 6.0, math.nan, 8.0]), 1.0, 3.0)
    array([6., 8.])
    """
    inside = values[time_h.searchsorted(start_h) : time_h.searchsorted(end_h, side="right")]
    return inside[np.isfinite(inside)]


def humidity_bias(time_h: Floats, humidity_pct: Floats, start_h: float, end_h: float) -> HumidityBias | None:
    """Bias of the decay rate from the change of humidity over the fit window; None with too few readings.

    A reading that is too high by a growing factor g(t) falls too slowly: k_true = k_read + d ln g/dt.
    """
    values = readings_between(time_h, humidity_pct, start_h, end_h)
    if values.size < 2 or not end_h > start_h:
        return None
    share = max(values.size // 10, 1)
    first, last = median(values[:share]), median(values[-share:])
    factor = reading_over_dry(last) / reading_over_dry(first)
    organic = mass_growth(last, ORGANIC_KAPPA) / mass_growth(first, ORGANIC_KAPPA)
    largest = max(factor, organic) if last > first else min(factor, organic)
    length = end_h - start_h
    return HumidityBias(first, last, factor, largest, math.log(factor) / length, math.log(largest) / length)
