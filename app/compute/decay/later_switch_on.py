"""A switch-on long after the peak: the point in the fit window where a slow natural decay changes to a faster one."""

from app.compute.decay.fit import FitOutcome, Readings
from app.compute.decay.unit_on import LOW_SHARE
from app.compute.signal.blocks import block_means
from app.compute.signal.noise import quantile
from app.compute.signal.rate_table import BackgroundBounds
from app.compute.signal.two_rates import SHORTEST_PART, best_split

NATURAL_AT_MOST_PER_H = 1.5  # a faster first rate means that a unit was running already; common practice, no source
FASTER_BY = 2.0  # the second rate over the first; a smaller step may be a change of speed
SLOWEST_PER_H = 0.05  # a slower first rate counts as this
MOST_BLOCKS = 60


def later_switch_on_h(readings: Readings, outcome: FitOutcome) -> float | None:
    """Time of switch-on [h], None where the curve does not show one after the peak.

    Only searched where the fit found an increasing rate.
    """
    event = outcome.event
    if event is None or outcome.fit.readings_fitted < 4 * SHORTEST_PART:
        return None
    if not (event.kind == "slow_start" or (event.kind == "rate_change" and event.change > 0)):
        return None
    time, level = readings.time_h[outcome.places], readings.level[outcome.places]
    blocks = block_means(time, level, readings.interval_h, readings.step, MOST_BLOCKS)
    bounds = BackgroundBounds(min(0.0, float(level.min())), max(quantile(level, LOW_SHARE), readings.step, 1e-9))
    found = best_split(blocks, bounds, 0, blocks.time_h.size)
    if found is None or found.before_per_h > NATURAL_AT_MOST_PER_H:
        return None
    return found.at_h if found.after_per_h >= FASTER_BY * max(found.before_per_h, SLOWEST_PER_H) else None
