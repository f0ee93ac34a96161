"""One simulated trial of the decay study: well-mixed room, noise of a real logger, an exponential that is known.

The noise is proportional to the level, autocorrelated from reading to reading (AR(1)), and the readings are
rounded to the display step. Nothing here uses the analysis.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

START_LEVEL = 300.0  # [µg/m³]
RELATIVE_NOISE = 0.03
BEFORE_SMOKE_MIN = 10.0
RISE_MIN = 3.0


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
    level: Floats = conditions.background + excess * decayed * risen
    return level


def simulated_trial(rng: np.random.Generator, conditions: Conditions) -> tuple[Floats, Floats]:
    """Times [s] and readings of one trial."""
    before_s = 60 * (BEFORE_SMOKE_MIN + RISE_MIN) if conditions.before_smoke else 0.0
    elapsed_s = np.arange(0.0, before_s + 60 * conditions.run_min + 1e-6, conditions.interval_s)
    level = true_level(elapsed_s, conditions)
    noise = autocorrelated_noise(rng, elapsed_s.size, conditions.autocorrelation)
    read = level * (1 + conditions.relative_noise * noise)
    return elapsed_s, np.maximum(np.round(read / conditions.step) * conditions.step, 0.0)
