"""Numbers as text for pages: decimal places from the uncertainty, a true minus sign, a dash for what is missing."""

import math

MISSING = "–"


def decimals_for(uncertainty: float | None, default: int = 1) -> int:
    """Decimal places that show two significant figures of the uncertainty, at least 0 and at most 6.

    >>> decimals_for(4.3), decimals_for(0.043), decimals_for(38.0), decimals_for(None)
    (1, 3, 0, 1)
    """
    if uncertainty is None or not math.isfinite(uncertainty) or uncertainty <= 0:
        return default
    return min(6, max(0, 1 - math.floor(math.log10(uncertainty))))


def number(value: float | None, decimals: int = 1) -> str:
    """A number with a fixed count of decimals; thousands set apart by a thin space from 10 000 on.

    >>> number(1234.567), number(-0.04), number(43215.0, 0), number(None)
    ('1234.6', '0.0', '43\u202f215', '–')
    """
    if value is None or not math.isfinite(value):
        return MISSING
    text = f"{abs(value):,.{decimals}f}" if abs(value) >= 10_000 else f"{abs(value):.{decimals}f}"
    is_zero = not text.strip("0.,")
    return ("−" if value < 0 and not is_zero else "") + text.replace(",", "\u202f")
