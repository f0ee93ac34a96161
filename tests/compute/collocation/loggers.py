"""Simulated loggers in one room: three bursts of smoke and their decays, seen with gain, zero, curvature and noise."""

import numpy as np
from numpy.typing import NDArray

from app.compute.collocation.alignment import Levels

Floats = NDArray[np.float64]


def true_level(time_s: Floats) -> Floats:
    level = np.full(len(time_s), 5.0)
    for start, height, rate_per_h in ((600.0, 400.0, 2.5), (3200.0, 250.0, 5.0), (5000.0, 120.0, 3.0)):
        since = np.maximum(time_s - start, 0.0)
        level += height * np.exp(-rate_per_h * since / 3600) * (1 - np.exp(-since / 120))
    return level


def logger(
    seed: int,
    *,
    name: str = "B",
    offset_s: float = 0.0,
    gain: float = 1.0,
    zero: float = 0.0,
    curvature: float = 0.0,
    noise: float = 0.02,
    minutes: float = 120.0,
    first_s: float = 0.0,
) -> Levels:
    random = np.random.default_rng(seed)
    time = first_s + np.arange(0.0, minutes * 60, 10.0)
    true = true_level(time - offset_s)
    level = zero + gain * true + curvature * true**2
    level = level * (1 + noise * random.standard_normal(len(time))) + 0.3 * random.standard_normal(len(time))
    return Levels(name, time, level)
