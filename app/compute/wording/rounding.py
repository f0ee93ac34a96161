"""Rounds a measured value to its uncertainty, so that no unsupported digit is shown."""

import math


def decimals_for(uncertainty: float | None) -> int | None:
    """Decimal places that an uncertainty supports; negative means tens, hundreds. None where it is zero or not a
    number.

    Two significant digits of the uncertainty are shown while they read 10 to 35, else one: rounding then never
    moves the uncertainty by more than about 14 %. [1]_

    Parameters
    uncertainty : standard uncertainty, in any unit

    References
    .. [1] JCGM 100:2008, 7.2.6, asks for at most two significant digits; the switch at 35 is common practice,
       no source.

    >>> [decimals_for(u) for u in (4.3, 0.12, 0.031, 23.0, 61.0, 0.96)]
    [0, 2, 3, 0, -1, 1]
    """
    if uncertainty is None or not math.isfinite(uncertainty) or uncertainty <= 0:
        return None
    exponent = math.floor(math.log10(uncertainty))
    two_digits = round(uncertainty / 10.0 ** (exponent - 1))
    if two_digits >= 100:  # 0.996 rounds to 1.0: one place less
        exponent, two_digits = exponent + 1, 10
    if two_digits <= 35:
        return 1 - exponent
    return -exponent


def decimals_from_size(value: float, significant_digits: int = 3) -> int:
    """Decimal places that show a number without uncertainty with so many significant digits.

    >>> [decimals_from_size(v) for v in (1234.0, 45.6, 0.0123, 0.0)]
    [0, 1, 4, 0]
    """
    if not math.isfinite(value) or value == 0:
        return 0
    return max(0, significant_digits - 1 - math.floor(math.log10(abs(value))))


def rounded_text(value: float, decimals: int) -> str:
    r"""Formats a value with a true minus sign and no negative zero; negative decimals round to tens.

    >>> rounded_text(-3.14159, 2), rounded_text(1234.0, -1), rounded_text(-0.001, 1), rounded_text(12345.6, 0)
    ('−3.14', '1230', '0.0', '12\u202f346')
    """
    if decimals >= 0 and -9999 < value < 9999:  # nearly every number, and a long table has thousands of them
        text = f"{value:.{decimals}f}"
        if text[0] != "-":
            return text
        return "\u2212" + text[1:] if text.strip("-0.") else text[1:]
    rounded = round(value, decimals)
    if rounded == 0:
        rounded = 0.0
    text = f"{rounded:,.{max(decimals, 0)}f}"
    whole, dot, part = text.partition(".")
    # a thin space between thousands, only from five digits on (1234, but 12 345)
    whole = whole.replace(",", "" if len(whole.lstrip("-").replace(",", "")) < 5 else "\u202f")
    return (whole + dot + part).replace("-", "\u2212")


def stated_text(value: float) -> str:
    """A number of the maker, to three significant digits at most and without zeros that nobody stated.

    >>> stated_text(28.0), stated_text(339.802), stated_text(5.5)
    ('28', '340', '5.5')
    """
    text = three_digits(value)
    return text.rstrip("0").rstrip(".") if "." in text else text


def three_digits(value: float) -> str:
    """Three significant digits, without an exponent."""
    if value == 0:
        return "0"
    digits = max(0, 2 - math.floor(math.log10(abs(value))))
    return f"{value:.{digits}f}"
