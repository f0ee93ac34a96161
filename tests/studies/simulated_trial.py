"""One simulated trial of the decay study: well-mixed room, noise of a real logger, an exponential that is known.

The noise is proportional to the level, autocorrelated from reading to reading (AR(1)), and the readings are
rounded to the display step. The background may drift, and the sensor warm up and bend. Nothing here uses the analysis.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

START_LEVEL = 300.0  # [µg/m³]
RELATIVE_NOISE = 0.03
BEFORE_SMOKE_MIN = 10.0
WARM_UP_MIN = 10.0
AIR_CHANGE_PER_H = 0.6
RISE_MIN = 3.0


@dataclass(frozen=True, slots=True)
class Disturbances:
    """drift_per_h : relative change of the background per hour;  warm_up_share : excess of the gain at the first
    reading;  power : of the level, 1 for a linear sensor
    """

    drift_per_h: float = 0.0
    warm_up_share: float = 0.0
    power: float = 1.0


NONE = Disturbances()


@dataclass(frozen=True, slots=True)
class Conditions:
    """Conditions of one simulated trial."""

    rate_per_h: float
    interval_s: float
    autocorrelation: float
    step: float
    run_min: float
    background: float
    before_smoke: bool
    start_level: float = START_LEVEL
    relative_noise: float = RELATIVE_NOISE
    disturbances: Disturbances = NONE


def autocorrelated_noise(rng: np.random.Generator, size: int, autocorrelation: float) -> Floats:
    """Stationary AR(1) series of unit variance."""
    from scipy.signal import lfilter

    shocks = rng.standard_normal(size) * np.sqrt(1 - autocorrelation**2)
    shocks[0] = rng.standard_normal()
    series: Floats = lfilter([1.0], [1.0, -autocorrelation], shocks)
    return series


def true_level(elapsed_s: Floats, conditions: Conditions) -> Floats:
    """Level without noise; the decay starts at the end of the rise, or at the first reading without one."""
    on_s = 60 * (BEFORE_SMOKE_MIN + RISE_MIN) if conditions.before_smoke else 0.0
    excess = conditions.start_level - conditions.background
    decayed = np.exp(-conditions.rate_per_h * np.maximum(elapsed_s - on_s, 0.0) / 3600)
    risen = np.clip((elapsed_s - 60 * BEFORE_SMOKE_MIN) / (60 * RISE_MIN), 0.0, 1.0) if conditions.before_smoke else 1.0
    level: Floats = conditions.background * _drifted(elapsed_s, on_s, conditions) + excess * decayed * risen
    return level


def _drifted(elapsed_s: Floats, on_s: float, conditions: Conditions) -> Floats:
    """Background over its first level. What comes in from outside changes a room the less the faster it is cleaned."""
    answer = min(1.0, AIR_CHANGE_PER_H / conditions.rate_per_h)
    felt_s = np.minimum(elapsed_s, on_s) + answer * np.maximum(elapsed_s - on_s, 0.0)
    return np.maximum(1 + conditions.disturbances.drift_per_h * felt_s / 3600, 0.0)


def simulated_trial(rng: np.random.Generator, conditions: Conditions) -> tuple[Floats, Floats]:
    """Times [s] and readings of one trial."""
    before_s = 60 * (BEFORE_SMOKE_MIN + RISE_MIN) if conditions.before_smoke else 0.0
    elapsed_s = np.arange(0.0, before_s + 60 * conditions.run_min + 1e-6, conditions.interval_s)
    level = true_level(elapsed_s, conditions)
    noise = autocorrelated_noise(rng, elapsed_s.size, conditions.autocorrelation)
    there = conditions.disturbances
    if there != NONE:
        gain = 1 + there.warm_up_share * np.exp(-elapsed_s / (60 * WARM_UP_MIN))
        level = gain * conditions.start_level * (level / conditions.start_level) ** there.power
    read = level * (1 + conditions.relative_noise * noise)
    return elapsed_s, np.maximum(np.round(read / conditions.step) * conditions.step, 0.0)
