"""What generalised least squares would give that knows the simulated noise, to show what learning it can reach.

It is linear about the true curve, knows the covariance of the noise of block means exactly, and assumes of background,
its drift and the sensor's warm-up what the program assumes.
"""

import math
from dataclasses import dataclass, replace

import numpy as np

from app.compute.decay.result import DecayFit
from app.compute.decay.systematic import LINEARITY, WARM_UP_H, WARM_UP_SHARE
from app.compute.signal.background import (
    BACKGROUND_SHARE_EMPTY_ROOM,
    BACKGROUND_SHARE_RUNNING,
    MIDDLE_SHARE_RUNNING,
    _drift_share,
)
from app.compute.signal.blocks import Blocks, block_means
from app.compute.signal.rate_table import DRIFT_PARTS
from tests.studies.physical_room import Sensor, sensor_readings
from tests.studies.simulated_trial import Floats


@dataclass(frozen=True, slots=True)
class Truth:
    """Rate [1/h], level each second without a drift or warm-up, level before the smoke, and background with the unit
    on; empty_room : no unit was running."""

    rate_per_h: float
    time_s: Floats
    level: Floats
    before: float
    background: float
    empty_room: bool


def oracle_error(
    truth: Truth, sensor: Sensor, elapsed_s: Floats, readings: Floats, fit: DecayFit
) -> tuple[float, float]:
    """Relative error of the rate and relative half-width of its 95 % interval, from the readings that a fit used."""
    calm = replace(sensor, relative_noise=0.0, floor_noise=0.0, flicker=0.0, resolution=1e-6, warm_up_share=0.0)
    _, clean = sensor_readings(np.random.default_rng(0), truth.time_s, truth.level, calm)
    time_h = elapsed_s / 3600
    used = (time_h >= fit.window_start_h - 1e-9) & (time_h <= fit.window_end_h + 1e-9)
    read, true = (
        block_means(time_h[used], each[used], sensor.interval_s / 3600, sensor.resolution) for each in (readings, clean)
    )
    time = true.time_h - true.time_h[0]
    decayed = np.exp(-truth.rate_per_h * time)
    amplitude = float(true.level[0]) - truth.background
    columns = np.stack([np.ones_like(time), decayed, -amplitude * time * decayed], axis=1)
    covariance = block_covariance(read, true.level, sensor)
    # usual and large drifts together; as a normal distribution, because the oracle is linear
    both = math.sqrt(sum(probability * size**2 for probability, size in DRIFT_PARTS))
    drift = both * truth.before * _drift_share(float(time[-1]), 0.0 if truth.empty_room else truth.rate_per_h)
    warm_up = WARM_UP_SHARE * true.level * np.exp(-true.time_h / WARM_UP_H)
    covariance += drift**2 * np.outer(time, time) + np.outer(warm_up, warm_up)
    weighted = np.linalg.solve(covariance, np.column_stack([columns, read.level - true.level]))
    normal, right = columns.T @ weighted[:, :3], columns.T @ weighted[:, 3]
    share = BACKGROUND_SHARE_EMPTY_ROOM if truth.empty_room else BACKGROUND_SHARE_RUNNING
    given = truth.before * (1.0 if truth.empty_room else MIDDLE_SHARE_RUNNING)
    normal[0, 0] += 1 / (share * truth.before) ** 2
    right[0] += (given - truth.background) / (share * truth.before) ** 2
    inverse = np.linalg.inv(normal)
    uncertainty = math.hypot(math.sqrt(inverse[2, 2]) / truth.rate_per_h, LINEARITY)
    return float(inverse[2] @ right) / truth.rate_per_h, 1.96 * uncertainty


def block_covariance(blocks: Blocks, level: Floats, sensor: Sensor) -> Floats:
    """Of block means of noise with the correlation exp(−t/τ), by its integral over both blocks."""
    place = np.concatenate([[0.0], np.cumsum(np.round(blocks.spacing))])
    length_s = 3600 * float(blocks.time_h[-1] - blocks.time_h[0]) / place[-1]
    apart = np.abs(place[:, None] - place)

    def correlation(memory_s: float) -> Floats:
        if memory_s <= 0:  # independent from second to second
            return np.eye(place.size) / length_s
        x = length_s / memory_s
        own = 2 * (x + math.expm1(-x)) / x**2
        rest = np.exp(-x * (np.maximum(apart, 1.0) - 1)) * (math.expm1(-x) / x) ** 2
        return np.where(apart == 0, own, rest)

    own = correlation(sensor.memory_s)
    relative = sensor.relative_noise**2 * own
    if sensor.flicker > 0:
        memories = 2.0 ** np.arange(1, 13)
        relative = relative + sensor.flicker**2 * sum(correlation(float(one)) for one in memories) / memories.size
    covariance: Floats = np.outer(level, level) * relative + sensor.floor_noise**2 * own
    covariance[np.diag_indices_from(covariance)] += blocks.rounding**2 + 1e-9 * covariance.max()
    return covariance
