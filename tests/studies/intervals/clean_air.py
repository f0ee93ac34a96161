"""The clean air delivery rate of one to three repeats, from the rates that simulated trials of one cell gave.

Each repeat is one of the cell's trials, drawn with replacement, with a deviation of its own between trials as large as
is assumed (5 %). The natural decay is known to 2 %, the volume exactly; no other trial of the bench shows the spread.
"""

from collections.abc import Sequence

import numpy as np

from app.compute.clean_air.rate import clean_air_delivery_rate
from app.compute.statistics.measured import Measured
from app.compute.statistics.repeats import combine_trials
from app.compute.statistics.spread_sources import ASSUMED_RELATIVE_SD
from tests.studies.intervals.shares import Share

REPEATS = (1, 2, 3)
BENCHES = 200
NATURAL_SHARE = 0.02
VOLUME = Measured(30.0, 0.0)


def clean_air_of_repeats(
    rates: Sequence[Measured], true_per_h: float, natural_per_h: float, random: np.random.Generator
) -> dict[int, tuple[Share, float]]:
    """By number of repeats: how many intervals hold the rate, and their median half-width over 1.96 sd of the rates."""
    truth, found = VOLUME.value * (true_per_h - natural_per_h), {}
    for repeats in REPEATS:
        values, widths, held = [], [], 0
        for _ in range(BENCHES):
            drawn = random.integers(len(rates), size=repeats)
            moved = 1 + random.normal(0, ASSUMED_RELATIVE_SD, repeats)
            group = [
                Measured(rates[one].value * more, rates[one].uncertainty * more, rates[one].degrees_of_freedom)
                for one, more in zip(drawn.tolist(), moved.tolist(), strict=True)
            ]
            own = NATURAL_SHARE * natural_per_h
            natural = Measured(natural_per_h + own * random.standard_normal(), own)
            rate = clean_air_delivery_rate(combine_trials(group).total_decay, natural, VOLUME)
            values.append(rate.value)
            widths.append(rate.expanded_uncertainty_95)
            held += rate.low_95 <= truth <= rate.high_95
        found[repeats] = Share(held, BENCHES), float(np.median(widths) / (1.96 * np.std(values, ddof=1)))
    return found
