"""Block means of neighbouring readings; the fit uses about a hundred of them at most.

An exponential averaged over blocks of equal length is the same exponential times a constant, so the rate is
unchanged; and the slow autocorrelation, which matters for the rate, is still present in block means.
"""

import math
from dataclasses import dataclass

import numpy as np

from app.compute.signal.noise import Floats

MOST_BLOCKS = 120


@dataclass(frozen=True, slots=True)
class Blocks:
    """Block means: mean time [h], mean level, number of readings of a full block and the share present,
    distance to the previous block in blocks, one or more, the rounding error of each mean, and readings of a full one.
    """

    time_h: Floats
    level: Floats
    share: Floats
    spacing: Floats
    rounding: Floats
    per_block: int = 1


def block_means(time_h: Floats, levels: Floats, interval_h: float, step: float, most: int = MOST_BLOCKS) -> Blocks:
    """Means over equal stretches of time, each a whole number of sampling steps long, at most `most` of them.

    step : display step of the logger; a block whose readings all round to one value keeps an error of step/√12,
        one whose readings scatter over a step or more averages it out (first harmonic of the rounding error)
    """
    span = float(time_h[-1] - time_h[0])
    per_block = max(1, math.ceil((span / interval_h + 1) / most - 1e-6)) if interval_h > 0 else 1
    rounded = step / math.sqrt(12)
    if per_block == 1:
        spacing = np.maximum(np.diff(time_h) / interval_h, 1.0) if interval_h > 0 else np.ones(time_h.size - 1)
        return Blocks(time_h, levels, np.ones(time_h.size), spacing, np.full(time_h.size, rounded))
    last = int(span / interval_h + 0.5) // per_block
    begins = time_h[0] + (per_block * np.arange(last + 2) - 0.5) * interval_h
    firsts = time_h.searchsorted(begins)  # of each block; of an empty one that of the next
    count = firsts[1:] - firsts[:-1]
    number = count.nonzero()[0]
    starts, count = firsts[number], count[number].astype(float)
    time = np.add.reduceat(time_h, starts) / count
    level = np.add.reduceat(levels, starts) / count
    rounding = np.zeros(level.size)
    if step > 0:
        scatter = np.maximum(np.add.reduceat(levels**2, starts) / count - level**2 - rounded**2, 0.0)
        rounding = rounded * np.sqrt(np.exp(-4 * math.pi**2 * scatter / step**2) + 1 / count)
    return Blocks(time, level, count / per_block, (number[1:] - number[:-1]).astype(float), rounding, per_block)
