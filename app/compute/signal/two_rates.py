"""Finds where one rate changes to another: two exponentials fitted on both sides of each candidate time."""

from dataclasses import dataclass

import numpy as np

from app.compute.signal.blocks import Blocks
from app.compute.signal.exponential_fit import quick_fit
from app.compute.signal.rate_table import BackgroundBounds

SHORTEST_PART = 4  # blocks on either side


@dataclass(frozen=True, slots=True)
class TwoRates:
    """Time of the change [h on the blocks' clock] and the rates before and after it [1/h]."""

    at_h: float
    before_per_h: float
    after_per_h: float


def best_split(blocks: Blocks, bounds: BackgroundBounds, first: int, last: int) -> TwoRates | None:
    """The index from `first` to `last` at which two exponentials have the least sum of squares; None if too short.

    The later part determines the background of both, because it comes closer to it.
    """
    best, least = None, np.inf
    weight = 1 / np.maximum(np.abs(blocks.level), 0.05 * float(np.max(np.abs(blocks.level)))) ** 2
    for place in range(max(first, SHORTEST_PART), min(last, blocks.time_h.size - SHORTEST_PART) + 1):
        late, early = _part(blocks, slice(place, None)), _part(blocks, slice(0, place))
        after = quick_fit(late, bounds)
        held = BackgroundBounds(after.background, after.background)
        before = quick_fit(early, held)
        left = np.concatenate(
            [
                early.level - before.level(early.time_h - early.time_h[0]),
                late.level - after.level(late.time_h - late.time_h[0]),
            ]
        )
        loss = float(weight @ (left * left))
        if loss < least:
            at_h = 0.5 * float(blocks.time_h[place - 1] + blocks.time_h[place])
            best, least = TwoRates(at_h, before.rate, after.rate), loss
    return best


def _part(blocks: Blocks, part: slice) -> Blocks:
    spacing = blocks.spacing[part][1:] if part.start else blocks.spacing[: (part.stop or 0) - 1]
    return Blocks(
        blocks.time_h[part], blocks.level[part], blocks.share[part], spacing, blocks.rounding[part], blocks.per_block
    )
