"""Ticks of an axis, the same in every renderer."""

import math

from app.compute.wording.rounding import rounded_text
from app.figures.chart import Axis
from app.figures.date_axis import date_ticks

Tick = tuple[float, str]
_STEPS = (1.0, 2.0, 5.0, 10.0)
_TOLERANCE = 1e-9


def ticks(axis: Axis, low: float, high: float, most: int) -> list[Tick]:
    """At most about so many ticks between the ends of an axis."""
    if axis.scale == "days":
        return date_ticks(low, high, most)
    return _log_ticks(low, high, most) if axis.scale == "log" else _linear_ticks(low, high, most)


def _linear_ticks(low: float, high: float, most: int) -> list[Tick]:
    """Multiples of 1, 2 or 5 times a power of ten.

    >>> [label for _, label in _linear_ticks(0.0, 170.0, 6)]
    ['0', '50', '100', '150']
    >>> [label for _, label in _linear_ticks(-4.5, 4.5, 2)]
    ['−4', '−2', '0', '2', '4']
    """
    rough = (high - low) / max(most, 1)
    power = 10.0 ** math.floor(math.log10(rough))
    step = next(factor * power for factor in _STEPS if factor * power >= rough * (1 - _TOLERANCE))
    while math.floor(high / step + _TOLERANCE) - math.ceil(low / step - _TOLERANCE) < 1:  # one tick gives no scale
        step = max(factor * scale for scale in (power / 10, power) for factor in _STEPS if factor * scale < step * 0.99)
    decimals = max(0, -math.floor(math.log10(step) + _TOLERANCE))
    first, last = math.ceil(low / step - _TOLERANCE), math.floor(high / step + _TOLERANCE)
    return [(count * step, rounded_text(count * step, decimals)) for count in range(first, last + 1)]


def _log_ticks(low: float, high: float, most: int) -> list[Tick]:
    """Decades, with 2 and 5 times them, or 2 to 9 times, where that is few.

    >>> [label for _, label in _log_ticks(25.0, 10000.0, 6)]
    ['100', '1000', '10\u202f000']
    """
    found: list[float] = []
    for factors in ((1.0,), (1.0, 2.0, 5.0), tuple(float(factor) for factor in range(1, 10))):
        more = [
            factor * 10.0**power
            for power in range(math.floor(math.log10(low)), math.ceil(math.log10(high)) + 1)
            for factor in factors
            if low * (1 - _TOLERANCE) <= factor * 10.0**power <= high * (1 + _TOLERANCE)
        ]
        if found and len(more) > most:
            break
        found = more
    every = -(-len(found) // max(most, 1)) or 1
    return [(value, _plain(value)) for value in found[::every]]


def _plain(value: float) -> str:
    return rounded_text(value, max(0, -math.floor(math.log10(value) + _TOLERANCE)))
