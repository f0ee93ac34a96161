"""One published number, and the list of all of them as a file that any program can read."""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, fields
from functools import lru_cache
from typing import Any

import orjson

_SIGNIFICANT = 12  # digits kept; further ones differ between machines


# value, standard uncertainty, ends of the 95 % interval, bound
Measured = tuple[float | None, float | None, float | None, float | None, str]


@dataclass(frozen=True, slots=True)
class PublishedNumber:
    """A number as published.

    key : names the same number in every edition
    item : unit or trial that it belongs to
    of : its setting, or the channel of a trial; "" for a number of the whole item
    value : None where only a bound or nothing is known; uncertainty : standard uncertainty
    bound : "at most", "at least", "more than", "estimated" or ""
    trials : the trials behind it; based_on : everything else behind it, as pairs of kind and text
    """

    key: str
    unit_id: int | None
    trial_id: int | None
    item: str
    of: str
    quantity: str
    unit_of_measure: str
    value: float | None
    uncertainty: float | None = None
    low_95: float | None = None
    high_95: float | None = None
    bound: str = ""
    trials: tuple[int, ...] = ()
    based_on: tuple[tuple[str, str], ...] = ()
    method_version: str = ""

    @property
    def measured(self) -> Measured:
        """What a reader sees of it: two numbers with the same are the same number."""
        return self.value, self.uncertainty, self.low_95, self.high_95, self.bound

    @property
    def as_json(self) -> dict[str, Any]:
        """The number with its fields' names; sources by their kind."""
        plain = {name: getattr(self, name) for name in _PLAIN}
        return plain | {"trials": list(self.trials), "based_on": _grouped(self.based_on)}

    @property
    def words(self) -> str:
        """The number's name in full."""
        return f"{self.item}{', ' if self.of else ''}{self.of}: {self.quantity}"


_PLAIN = tuple(own.name for own in fields(PublishedNumber) if own.name not in ("trials", "based_on"))


@lru_cache(maxsize=1024)
def empty_room_runs(trial_ids: tuple[int, ...]) -> tuple[tuple[str, str], ...]:
    """The runs behind a natural decay, as sources; held once for all numbers that are based on the same ones."""
    return tuple(("empty-room trial", str(one)) for one in trial_ids)


def significant(value: float | None) -> float | None:
    """A number to twelve significant digits; not-a-number counts as missing.

    >>> significant(0.1 + 0.2), significant(float("nan"))
    (0.3, None)
    """
    return None if value is None or not math.isfinite(value) else float(f"{value:.{_SIGNIFICANT}g}")


def numbers_file(numbers: Iterable[PublishedNumber]) -> bytes:
    """The list as JSON; the same numbers give the same bytes."""
    return json_rows("numbers", (number.as_json for number in sorted(numbers, key=lambda number: number.key)))


def json_rows(name: str, rows: Iterable[dict[str, Any]]) -> bytes:
    """A list as JSON, a row on each line; grown row by row, because many small buffers take ten times the memory.

    >>> json_rows("moved", [{"a": 1}, {"a": 2}])
    b'{"moved": [\\n{"a":1},\\n{"a":2}\\n]}\\n'
    """
    out = bytearray(f'{{"{name}": [\n'.encode())
    for place, row in enumerate(rows):
        out += b",\n" if place else b""
        out += orjson.dumps(row)
    out += b"\n]}\n"
    return bytes(out)


def numbers_of_file(content: bytes) -> tuple[PublishedNumber, ...]:
    """The numbers of `numbers_file`. Raises ValueError for anything else."""
    try:
        rows = orjson.loads(content)["numbers"]
        return tuple(_of_json(row) for row in rows)
    except (KeyError, TypeError) as error:
        raise ValueError(f"The list of numbers has no {error}.") from error


def _of_json(row: dict[str, Any]) -> PublishedNumber:
    pairs = tuple((kind, text) for kind, texts in row["based_on"].items() for text in texts)
    plain: dict[str, Any] = {name: row[name] for name in _PLAIN}
    return PublishedNumber(**plain, trials=tuple(row["trials"]), based_on=pairs)


def _grouped(pairs: Iterable[tuple[str, str]]) -> dict[str, list[str]]:
    found: dict[str, list[str]] = {}
    for kind, text in pairs:
        found.setdefault(kind, []).append(text)
    return found


def by_key(numbers: Sequence[PublishedNumber]) -> dict[str, PublishedNumber]:
    """The numbers by their key. Raises ValueError where two have the same."""
    found = {number.key: number for number in numbers}
    if len(found) < len(numbers):
        seen: set[str] = set()
        twice = next(number.key for number in numbers if number.key in seen or seen.add(number.key))  # type: ignore[func-returns-value]
        raise ValueError(f"Two published numbers have the key {twice!r}; a key names one number.")
    return found
