"""A mapping whose values are computed when they are first asked for."""

from collections.abc import Callable, Iterator, Mapping
from typing import Generic, TypeVar

Row = TypeVar("Row")
Value = TypeVar("Value")


class ComputedWhenAsked(Mapping[int, Value], Generic[Row, Value]):
    """Id to what a function makes of the row of this id.

    Of a table of a thousand units a page shows a hundred lines. Threads that ask at one moment may compute a value
    twice, so equal rows must give equal values.

    >>> halves = ComputedWhenAsked({1: 3.0, 2: 5.0}, lambda row: row / 2)
    >>> halves[2], halves.get(3), len(halves)
    (2.5, None, 2)
    """

    def __init__(self, rows: Mapping[int, Row], compute: Callable[[Row], Value]) -> None:
        self._rows, self._compute = rows, compute
        self._values: dict[int, Value] = {}

    def __getitem__(self, key: int) -> Value:
        try:
            return self._values[key]
        except KeyError:
            value = self._values[key] = self._compute(self._rows[key])
            return value

    def __iter__(self) -> Iterator[int]:
        return iter(self._rows)

    def __len__(self) -> int:
        return len(self._rows)
