"""What is known of the background before the fit: bounds, level, and how fast it may drift."""

import math
from dataclasses import dataclass

import numpy as np

from app.compute.signal.blocks import Blocks
from app.compute.signal.exponential_fit import QuickFit
from app.compute.signal.noise import Floats, median
from app.compute.signal.noise_settings import noise_of_blocks
from app.compute.signal.rate_table import BackgroundBounds

# While a unit runs it also cleans air that leaks in, so the background of the decay lies below the level before the
# smoke. That level therefore constrains the background to this share only; in an empty room they differ by drift alone.
MIDDLE_SHARE_RUNNING = 0.5
BACKGROUND_SHARE_RUNNING = 0.4  # common practice, no source
BACKGROUND_SHARE_EMPTY_ROOM = 0.1  # common practice, no source
# Standard deviation of the usual steady drift of the background, as a share of its level per hour. In a month of hourly
# means of an outdoor PM2.5 reference monitor 68 % of the changes are within 8 % of the level and 95 % within 23 %
# (recomputed from the example data of sensortoolkit, US EPA, 2021). A room follows the outdoor air and has doors and
# sources of its own, so one run in four may drift by 50 % per hour: common practice, no source. With 30 % in one run of
# ten, which is all that the monitor shows, intervals held the rate in 88 % of runs whose incoming air rose by 50 % per
# hour (tests/studies/intervals/disturbances.py).
DRIFT_SHARE = 0.07
STEADY_DRIFT_H = 3.0  # a background drifts in one direction for about so long; common practice, no source
# The room answers a drift of the incoming air with λ/k. Air change with losses to surfaces of a closed room, at most:
HIGHEST_AIR_CHANGE_PER_H = 0.6  # common practice, no source
FEWEST_BEFORE = 3  # readings before the smoke needed to estimate a background
# The room never falls below its background, but a reading can. So the background may exceed the lowest reading by two
# standard deviations of noise and rounding.
NOISE_BELOW_BACKGROUND = 2.0


@dataclass(frozen=True, slots=True)
class BeforeSmoke:
    """Median of the readings before the smoke, and the variance of their mean."""

    level: float
    variance: float


def before_smoke(readings: Floats) -> BeforeSmoke | None:
    """None with too few readings."""
    if readings.size < FEWEST_BEFORE:
        return None
    return BeforeSmoke(median(readings), float(np.var(readings)) / min(readings.size, 4))


def noise_at_lowest(blocks: Blocks, quick: QuickFit) -> float:
    """Standard deviation of the lowest block, drifting noise and rounding together, from the residuals."""
    noise = noise_of_blocks(blocks, quick.level(blocks.time_h - blocks.time_h[0])).model()
    lowest = int(np.argmin(blocks.level))
    return math.hypot(float(noise.correlated[lowest]), float(noise.independent[lowest]))


def background_bounds(
    blocks: Blocks,
    before: BeforeSmoke | None,
    given_level: float | None,
    empty_room: bool,
    step: float,
    noise: float = 0.0,
    rate: float = 0.0,
) -> BackgroundBounds:
    """Bounds of the background in the fit: from a mark, from readings before the smoke, or an upper bound only.

    noise, rate : standard deviation of the lowest level, and the decay rate [1/h], once they are known
    """
    drift_share = _drift_share(float(blocks.time_h[-1] - blocks.time_h[0]), 0.0 if empty_room else rate)
    ordered = np.sort(blocks.level)
    lowest, low = float(ordered[ordered.size // 20]), min(0.0, float(ordered[0]))
    high = max(lowest, low + max(step, 1e-6 * max(abs(low), abs(float(ordered[-1])))))
    high += NOISE_BELOW_BACKGROUND * noise
    rounding = max(step / math.sqrt(12), 1e-4 * max(high, 0.0), 1e-12)
    if given_level is not None:
        given = given_level
        return BackgroundBounds(min(low, given), max(high, given), given, rounding, drift_share * abs(given))
    if before is None:
        return BackgroundBounds(low, high)  # free, it takes up most of a drift
    level_before = before.level
    share = BACKGROUND_SHARE_EMPTY_ROOM if empty_room else BACKGROUND_SHARE_RUNNING
    given = level_before if empty_room else MIDDLE_SHARE_RUNNING * level_before
    variance = rounding**2 + (share * level_before) ** 2 + before.variance
    drift = drift_share * abs(level_before)
    return BackgroundBounds(min(low, given), max(high, given), given, math.sqrt(variance), drift)


def _drift_share(window_h: float, rate_per_h: float) -> float:
    """Standard deviation of the background's usual drift as a share of its level per hour; rate 0 for an empty room."""
    answer = min(1.0, HIGHEST_AIR_CHANGE_PER_H / rate_per_h) if rate_per_h > 0 else 1.0
    return DRIFT_SHARE * answer * min(1.0, STEADY_DRIFT_H / max(window_h, 1e-9))
