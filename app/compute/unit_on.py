"""Unit on read off the curve: where a slow natural decay turns into a much faster one."""

import numpy as np

from app.compute.blocks import block_means
from app.compute.decay_fit import FitOutcome, Readings
from app.compute.exponential_fit import quick_fit
from app.compute.rate_table import BackgroundBounds

NATURAL_AT_MOST_PER_H = 1.5  # a faster first rate is a unit running already; common practice, no source
FASTER_BY = 2.0  # the second rate over the first; a smaller step may be a change of speed
MOST_BLOCKS = 60
SHORTEST_PART = 4  # blocks on either side


def switch_on_h(readings: Readings, outcome: FitOutcome) -> float | None:
    """Time of switch-on [h], None where the curve does not show one after the peak.

    Looked for only where the fit found a rate that grows: two exponentials are fitted on both sides of each
    place and the one with the least sum of squares is taken.
    """
    event = outcome.event
    if event is None or event.kind not in ("rate_change", "slow_start") or outcome.places.size < 4 * SHORTEST_PART:
        return None
    if event.kind == "rate_change" and event.change < 0:
        return None
    time, level = readings.time_h[outcome.places], readings.level[outcome.places]
    blocks = block_means(time, level, readings.interval_h, readings.step, MOST_BLOCKS)
    bounds = BackgroundBounds(min(0.0, float(level.min())), max(float(np.percentile(level, 5)), readings.step, 1e-9))
    best: tuple[float, float, float, float] | None = None
    for place in range(SHORTEST_PART, blocks.time_h.size - SHORTEST_PART):
        loss, rates = 0.0, []
        for part in (slice(0, place), slice(place, None)):
            piece = type(blocks)(
                blocks.time_h[part], blocks.level[part], blocks.share[part], blocks.spacing[part][1:],
                blocks.rounding[part],
            )  # fmt: skip
            fit = quick_fit(piece, bounds)
            curve = fit.level(piece.time_h - piece.time_h[0])
            weight = 1 / np.maximum(blocks.level[part], 0.05 * float(blocks.level.max())) ** 2
            loss += float(weight @ (piece.level - curve) ** 2)
            rates.append(fit.rate)
        if best is None or loss < best[0]:
            at = 0.5 * float(blocks.time_h[place - 1] + blocks.time_h[place])
            best = (loss, at, rates[0], rates[1])
    if best is None or best[2] > NATURAL_AT_MOST_PER_H or best[3] < FASTER_BY * max(best[2], 0.05):
        return None
    return best[1]
