"""Formats numbers for readers: rounded to their uncertainty, with wording for bounds and missing values."""

import math
from collections.abc import Sequence
from typing import NamedTuple

from app.compute.wording.rounding import decimals_for, decimals_from_size, rounded_text

DASH = "–"

# A number whose standard uncertainty is a larger share of it is never shown without its interval. Common practice, no
# source.
UNCERTAIN_SHARE = 0.3


class MeasuredText(NamedTuple):
    """One measured value in text, every part rounded to the same place. `uncertainty` is the standard one."""

    value: str
    uncertainty: str
    low: str
    high: str

    @property
    def interval(self) -> str:
        return f"{self.low} to {self.high}"

    @property
    def with_interval(self) -> str:
        return f"{self.value} ({self.low} to {self.high})"


def measured_text(
    value: float, uncertainty: float | None = None, low_95: float | None = None, high_95: float | None = None
) -> MeasuredText:
    """Value, uncertainty and interval, rounded to the uncertainty.

    Without an uncertainty, a quarter of the width of the interval is used instead; without both, three significant
    digits are shown.

    >>> measured_text(162.12, 4.31, 153.4, 170.8).with_interval
    '162 (153 to 171)'
    >>> measured_text(12.347, None, 11.9, 12.8).with_interval
    '12.35 (11.90 to 12.80)'
    """
    if not uncertainty and low_95 is not None and high_95 is not None:
        uncertainty = (high_95 - low_95) / 4
    decimals = decimals_for(uncertainty)
    if decimals is None:
        decimals = decimals_from_size(value)
    if low_95 and high_95 and decimals >= 0 and 0 < low_95 <= value <= high_95 < 9999:
        # as `rounded_text` does, four at once: most numbers of a long table are like this
        form = f"%.{decimals}f"
        return MeasuredText(form % value, form % uncertainty, form % low_95, form % high_95)
    return MeasuredText(
        value=rounded_text(value, decimals),
        uncertainty=DASH if uncertainty is None else rounded_text(uncertainty, decimals),
        low=DASH if low_95 is None else rounded_text(low_95, decimals),
        high=DASH if high_95 is None else rounded_text(high_95, decimals),
    )


def is_uncertain(value: float, uncertainty: float | None) -> bool:
    """Whether a number may not be shown without its interval.

    >>> is_uncertain(9.6, 9.6), is_uncertain(11.5, 0.13), is_uncertain(0.0, 0.03)
    (True, False, True)
    """
    return uncertainty is not None and uncertainty > UNCERTAIN_SHARE * abs(value)


def doubtful_text(value: float, uncertainty: float | None, unit_symbol: str, *, decimals: int | None = None) -> str:
    r"""A quantity that cannot be below zero, with its 95 % interval where it is uncertain.

    decimals : of a number that is not uncertain; as its uncertainty supports by default

    >>> doubtful_text(9.6, 9.6, "W"), doubtful_text(11.5, 0.136, "W"), doubtful_text(0.3, 0.2, "W")
    ('10\xa0W (0 to 28)', '11.50\xa0W', '0.30\xa0W (0.00 to 0.69)')
    """
    if not is_uncertain(value, uncertainty):
        shown = measured_text(value, uncertainty).value if decimals is None else rounded_text(value, decimals)
        return f"{shown}\u00a0{unit_symbol}"
    reach = 1.96 * (uncertainty or 0.0)
    words = measured_text(value, uncertainty, max(0.0, value - reach), value + reach)
    return f"{words.value}\u00a0{unit_symbol} ({words.interval})"


def level_text(level: float, unit: str) -> str:
    """A level without an uncertainty, three significant digits or all of the whole number, with its unit.

    >>> level_text(16123.4, "1/cm³"), level_text(10.0, "µg/m³"), level_text(-0.0512, "ppm")
    ('16\u202f123 1/cm³', '10 µg/m³', '−0.0512 ppm')
    """
    text = rounded_text(level, decimals_from_size(level))
    return f"{text.rstrip('0').rstrip('.') if '.' in text else text} {unit}".strip()


def plus_minus(value: float, uncertainty: float | None) -> str:
    """A number with its standard uncertainty; alone, with three significant digits, where that is not known.

    >>> plus_minus(38.477, 0.187), plus_minus(289.1, None)
    ('38.48 ± 0.19', '289')
    """
    words = measured_text(value, uncertainty)
    return words.value if uncertainty is None else f"{words.value} ± {words.uncertainty}"


def not_within(not_before_min: float) -> str:
    r"""A censored time [min], rounded down so that it never exceeds the time observed.

    >>> not_within(172.9)
    '> 172\xa0min'
    """
    return f"> {rounded_text(math.floor(not_before_min), 0)}\u00a0min"


def at_most(bound: float, unit_symbol: str) -> str:
    r"""An upper limit, rounded up to three significant digits.

    >>> at_most(8.31, "m³/h")
    'at most 8.31\xa0m³/h'
    """
    decimals = decimals_from_size(bound)
    step = 10.0**-decimals
    # the small subtraction keeps 8.31 from becoming 8.32 through binary rounding
    return f"at most {rounded_text(math.ceil(bound / step - 1e-9) * step, decimals)}\u00a0{unit_symbol}"


def money(amount: float, currency: str, decimals: int | None = None) -> str:
    r"""An amount with its currency code; cents only below a hundred by default.

    >>> money(109.5, "USD"), money(17.52, "USD"), money(1234567.0, "USD")
    ('110\xa0USD', '17.52\xa0USD', '1\u202f234\u202f567\xa0USD')
    """
    if decimals is None:
        decimals = 2 if abs(amount) < 100 else 0
    return f"{rounded_text(amount, decimals)}\u00a0{currency}"


def amount_text(amount: float, interval: tuple[float, float] | None = None) -> MeasuredText:
    """An amount of money and the ends of its 95 % interval, rounded to a quarter of the interval's width (the standard
    uncertainty), never finer than cents; without an interval, cents only below a hundred.

    >>> amount_text(244.6, (226.1, 263.1)).with_interval
    '245 (226 to 263)'
    >>> amount_text(244.6, (160.2, 329.0)).with_interval, amount_text(28.034, (28.034, 28.034)).value
    ('240 (160 to 330)', '28.03')
    """
    low, high = interval or (amount, amount)
    decimals = decimals_for((high - low) / 4)
    places = (2 if 0 < abs(amount) < 100 else 0) if decimals is None else min(decimals, 2)
    return MeasuredText(
        value=rounded_text(amount, places),
        uncertainty=DASH if decimals is None else rounded_text((high - low) / 4, places),
        low=rounded_text(low, places),
        high=rounded_text(high, places),
    )


def money_known(amount: float, currency: str, missing: Sequence[str]) -> str:
    r"""An amount that may be incomplete: "at least" where part is missing, and never 0 where nothing is known.

    >>> money_known(12.0, "USD", ()), money_known(12.0, "USD", ("x",)), money_known(0.0, "USD", ("x",))
    ('12.00\xa0USD', 'at least 12.00\xa0USD', 'an amount not known')
    """
    if not missing:
        return money(amount, currency)
    return f"at least {money(amount, currency)}" if amount > 0 else "an amount not known"


def money_between(amount: float, interval: tuple[float, float], currency: str, missing: Sequence[str] = ()) -> str:
    r"""An amount with its 95 % interval, rounded as `amount_text`; as `money_known` where part of it is missing,
    because a bound has no interval.

    An interval narrower than the last digit shown is left out.

    >>> money_between(112.4, (98.1, 126.7), "USD")
    '112\xa0USD (98 to 127)'
    >>> money_between(0.0, (0.0, 0.0), "USD", ("x",))
    'an amount not known'
    >>> money_between(23.0, (22.998, 23.002), "USD")
    '23.00\xa0USD'
    """
    low, high = interval
    if missing or not high > low:
        return money_known(amount, currency, missing)
    words = amount_text(amount, interval)
    return f"{words.value}\u00a0{currency}" + (f" ({words.interval})" if words.low != words.high else "")


def interval_text(interval_s: float) -> str:
    """A sampling interval, in seconds below 1,000 s and in minutes above.

    >>> [interval_text(seconds) for seconds in (10.0, 9.068, 3600.0, 86400.0)]
    ['10 s', '9.07 s', '60 min', '1440 min']
    """
    if interval_s < 1000.0:
        return f"{interval_s:.3g} s"
    minutes = interval_s / 60.0
    return f"{rounded_text(minutes, 0 if minutes.is_integer() else 1)} min"


def readings_text(number: int, interval_s: float) -> str:
    """Number of readings with their interval, which a single reading does not have.

    >>> readings_text(361, 10.0), readings_text(1, 0.0)
    ('361 readings, one every 10 s', '1 reading')
    """
    count = counted(number, "reading")
    return f"{count}, one every {interval_text(interval_s)}" if number > 1 and interval_s > 0 else count


def counted(number: int, singular: str, plural: str | None = None) -> str:
    """A number with its noun in the right form.

    >>> counted(1, "trial"), counted(3, "trial"), counted(0, "run")
    ('1 trial', '3 trials', '0 runs')
    """
    return f"{rounded_text(number, 0)} {singular if number == 1 else plural or singular + 's'}"


def listed(words: list[str] | tuple[str, ...], joining: str = "and") -> str:
    """Joins words into a list as in a sentence.

    >>> listed(["a", "b", "c"]), listed(["a"]), listed([])
    ('a, b and c', 'a', '')
    """
    if len(words) < 2:
        return "".join(words)
    return f"{', '.join(words[:-1])} {joining} {words[-1]}"
