"""Numbers of a comparison of two settings: difference, ratio and probability."""

from dataclasses import dataclass

from app.compute.comparison.difference import Comparison
from app.compute.comparison.wording import rounded_apart
from app.compute.wording.numbers import DASH
from app.compute.wording.rounding import rounded_text
from app.services.ranking.compared_quantities import CLEAN_AIR, CLEARING_TIME, POWER, RUNNING_COST, SOUND
from app.services.ranking.comparison import SettingsCompared
from app.web.forms.unit_system import UnitSystem


@dataclass(frozen=True, slots=True)
class PairRow:
    """The numbers of one quantity of exactly two settings; "–" for a meaningless or unbounded ratio."""

    words: str
    difference: str
    ratio: str
    probability: str


def pair_rows(compared: SettingsCompared, system: UnitSystem) -> tuple[PairRow, ...]:
    """Difference, ratio and probability, first against second, for exactly two settings."""
    currency = compared.offered.currency
    heads = (
        (CLEAN_AIR, "Clean air delivery rate", system.flow_symbol, system.flow_factor),
        (CLEARING_TIME, "Total decay rate, which sets the time to clear", "1/h", 1.0),
        (SOUND, "Sound", "dB", 1.0),
        (POWER, "Power", "W", 1.0),
        (RUNNING_COST, "Running cost", f"{currency}/year", 1.0),
    )
    rows = []
    for quantity, words, unit_symbol, factor in heads:
        comparison = compared.of_pair(quantity)
        if comparison is not None:
            rows.append(_pair_row(words, comparison, unit_symbol, factor))
    return tuple(rows)


def _pair_row(words: str, comparison: Comparison, unit_symbol: str, factor: float) -> PairRow:
    difference = comparison.difference.times(factor)
    value, low, high = rounded_apart(difference.value, *difference.interval_95, no_difference=0.0)
    ratio = DASH
    if comparison.ratio is not None:
        of, below, above = rounded_apart(comparison.ratio.value, *comparison.ratio.interval_95, no_difference=1.0)
        ratio = f"{of} ({below} to {above})"
    return PairRow(
        words=words,
        difference=f"{value}\u00a0{unit_symbol} ({low} to {high})",
        ratio=ratio,
        probability=_percent(comparison.probability_first_higher),
    )


def _percent(probability: float) -> str:
    """Whole percent; what rounds to 0 or 100 is shown as below 1 or above 99, since it is not certain."""
    if probability < 0.01:
        return "below 1\u00a0%"
    if probability > 0.99:
        return "above 99\u00a0%"
    return f"{rounded_text(100 * probability, 0)}\u00a0%"
