"""Selects a few lines of many, for a chart that cannot show all."""

from collections.abc import Sequence
from typing import TypeVar

_Line = TypeVar("_Line")


def spread_over(lines: Sequence[_Line], number: int) -> list[_Line]:
    """This many of the lines, evenly spaced.

    >>> spread_over(list(range(28)), 4)
    [0, 9, 18, 27]
    """
    if len(lines) <= number:
        return list(lines)
    return [lines[round(place * (len(lines) - 1) / (number - 1))] for place in range(number)]
