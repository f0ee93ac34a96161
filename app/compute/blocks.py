"""Averages of neighbouring readings: the fit works on at most a few hundred block means.

An exponential averaged over blocks of equal length is the same exponential times a constant, so the rate is
not touched; and the autocorrelation that matters for a rate is the slow one that survives in block means.
"""

from dataclasses import dataclass

import numpy as np

from app.compute.noise import Floats

MOST_BLOCKS = 200


@dataclass(frozen=True, slots=True)
class Blocks:
    """Block means: mean time [h], mean level, number of readings, and distance to the block before in blocks."""

    time_h: Floats
    level: Floats
    count: Floats
    spacing: Floats
    full_count: float


def block_means(time_h: Floats, levels: Floats, step_h: float, most: int = MOST_BLOCKS) -> Blocks:
    """Means over equal stretches of time, each a whole number of sampling steps long, at most `most` of them."""
    span = float(time_h[-1] - time_h[0])
    per_block = max(1, int(np.ceil((span / step_h + 1) / most))) if step_h > 0 else 1
    if per_block == 1:
        count = np.ones(time_h.size)
        spacing = np.maximum(np.diff(time_h) / step_h, 0.5) if step_h > 0 else np.ones(time_h.size - 1)
        return Blocks(time_h, levels, count, spacing, 1.0)
    number = np.floor((time_h - time_h[0]) / step_h + 0.5).astype(np.int64) // per_block
    starts = np.flatnonzero(np.append(True, np.diff(number) != 0))
    count = np.diff(np.append(starts, time_h.size)).astype(float)
    time = np.add.reduceat(time_h, starts) / count
    level = np.add.reduceat(levels, starts) / count
    return Blocks(time, level, count, np.diff(number[starts]).astype(float), float(per_block))
