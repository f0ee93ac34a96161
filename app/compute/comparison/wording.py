"""Puts a comparison into a sentence: which of the two, by how much, and within what interval."""

import math
from dataclasses import dataclass
from typing import Literal

from app.compute.comparison.difference import Comparison
from app.compute.wording.rounding import rounded_text

CANNOT_BE_TOLD_APART = "cannot be told apart"
_MOST_DECIMALS = 2


@dataclass(frozen=True, slots=True)
class ComparisonText:
    """A sentence without its subject; `subject` says which of the two it is about, None where it is about both."""

    subject: Literal["first", "second"] | None
    words: str


def faster(comparison: Comparison) -> ComparisonText:
    """For total decay rates, of `compare_clearing_times`.

    >>> from app.compute.comparison.difference import compare_clearing_times
    >>> from app.compute.statistics.measured import Measured
    >>> faster(compare_clearing_times(Measured(6.4, 0.2), Measured(4.0, 0.2)))
    ComparisonText(subject='first', words='clears 1.6 times faster; between 1.4 and 1.8')
    """
    return _times(comparison, "clears", "times faster")


def more_clean_air(comparison: Comparison) -> ComparisonText:
    """For clean air delivery rates; the factor where there is one, else the difference in m³/h.

    >>> from app.compute.comparison.difference import compare_measured
    >>> from app.compute.statistics.measured import Measured
    >>> more_clean_air(compare_measured(Measured(20.0, 30.0), Measured(35.0, 20.0))).words
    'cannot be told apart'
    """
    return _times(comparison, "delivers", "times as much clean air")


def quieter(comparison: Comparison) -> ComparisonText:
    r"""For sound levels in dB(A), compared without a ratio.

    >>> from app.compute.comparison.difference import compare_measured
    >>> from app.compute.statistics.measured import Measured
    >>> quieter(compare_measured(Measured(38.0, 0.4), Measured(41.2, 0.5), with_ratio=False)).words
    'is 3.2\xa0dB quieter; between 1.9 and 4.5'
    """
    return less(comparison, "is", "dB", "quieter")


def less(comparison: Comparison, verb: str, unit_symbol: str, comparative: str = "less") -> ComparisonText:
    r"""The lower of two by an amount: "costs 40 EUR less; between 22 and 58".

    >>> from app.compute.comparison.difference import compare_measured
    >>> from app.compute.statistics.measured import Measured
    >>> less(compare_measured(Measured(90.0, 6.0), Measured(130.0, 7.0)), "costs", "EUR")
    ComparisonText(subject='first', words='costs 40\xa0EUR less; between 22 and 58')
    """
    if comparison.higher is None:
        return ComparisonText(None, CANNOT_BE_TOLD_APART)
    lower: Literal["first", "second"] = "second" if comparison.higher == "first" else "first"
    size = comparison.difference if comparison.higher == "first" else comparison.difference.times(-1.0)
    if size.uncertainty == 0:  # two prices: there is no interval to state
        exact = rounded_text(size.value, 0 if size.value == round(size.value) else _MOST_DECIMALS)
        return ComparisonText(lower, f"{verb} {exact}\u00a0{unit_symbol} {comparative}")
    value, low, high = rounded_apart(size.value, size.low_95, size.high_95, no_difference=0.0)
    return ComparisonText(lower, f"{verb} {value}\u00a0{unit_symbol} {comparative}; between {low} and {high}")


def _times(comparison: Comparison, verb: str, comparative: str) -> ComparisonText:
    if comparison.higher is None:
        return ComparisonText(None, CANNOT_BE_TOLD_APART)
    times = comparison.times
    if times is not None:
        value, low, high = rounded_apart(times.value, times.low_95, times.high_95, no_difference=1.0)
        return ComparisonText(comparison.higher, f"{verb} {value} {comparative}; between {low} and {high}")
    if comparison.at_least_times is not None:
        return ComparisonText(
            comparison.higher, f"{verb} at least {_rounded_down(comparison.at_least_times)} {comparative}"
        )
    return ComparisonText(comparison.higher, f"{verb} more; the factor is not known")


def rounded_apart(value: float, low: float, high: float, *, no_difference: float) -> tuple[str, str, str]:
    """Rounds all to the same place: at most two decimals, as the half-width supports (1.5 units of the last place or
    more); more where an end would round to "no difference", which the data exclude.

    >>> rounded_apart(92.3, 1.8, 182.6, no_difference=0.0), rounded_apart(1.2, 1.04, 1.36, no_difference=1.0)
    (('92', '2', '183'), ('1.20', '1.04', '1.36'))
    """
    half_width = (high - low) / 2
    decimals = _MOST_DECIMALS
    if half_width > 0:
        decimals = min(_MOST_DECIMALS, max(0, math.ceil(-math.log10(half_width / 1.5))))
    excluded = not low <= no_difference <= high
    while excluded and no_difference in (round(low, decimals), round(high, decimals)) and decimals < _MOST_DECIMALS + 2:
        decimals += 1
    return rounded_text(value, decimals), rounded_text(low, decimals), rounded_text(high, decimals)


def _rounded_down(limit: float) -> str:
    """Two significant digits, rounded down so that the limit is never overstated."""
    decimals = 1 - math.floor(math.log10(limit))
    return rounded_text(math.floor(limit * 10.0**decimals + 1e-9) / 10.0**decimals, decimals)
