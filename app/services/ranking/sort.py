"""Sorting of the ranking's lines by any column."""

from collections.abc import Callable, Iterable, Sequence
from typing import Any

from app.services.ranking.rows import IndexedSetting, Line, RankedSetting
from app.services.snapshot.bench_snapshot import BenchSnapshot
from app.services.snapshot.choices import EXTRA_COLUMNS, Offered, RankingChoices


def price_of(line: RankedSetting, offered: Offered) -> float | None:
    """The latest price if it is in the bench's currency; others are shown but not compared."""
    return line.row.price if line.row.price_currency == offered.currency else None


def level_of(line: RankedSetting) -> float | None:
    return None if line.sound is None else line.sound.level_dba


def sorted_lines(
    snapshot: BenchSnapshot, lines: Sequence[Line], choices: RankingChoices, offered: Offered
) -> list[Line]:
    """The lines sorted by a column; ties keep the order of the table: maker, model, position."""
    if choices.sort in ("name", "kind"):
        return sorted(lines, key=_order_by_name(choices.sort, choices.larger_first))
    if choices.sort in EXTRA_COLUMNS:
        from app.services.ranking.extra_columns import (
            sort_values,  # loaded when used: few readers sort by an optional column
        )

        whole: Any = lines  # optional columns are of whole lines
        values: Iterable[tuple[int, float]] = sort_values(snapshot, whole, choices.sort)
    else:
        value_of = _VALUES.get(choices.sort, _nothing)
        values = (value_of(line, offered) for line in lines)
    # Groups keep their order in both directions: values, then bounds, then missing.
    groups: tuple[list[Line], ...] = ([], [], [])
    numbers: tuple[list[float], ...] = ([], [], [])
    sign = -1.0 if choices.larger_first else 1.0
    for line, (group, value) in zip(lines, values, strict=True):
        groups[group].append(line)
        numbers[group].append(sign * value)
    return [
        of_group[place]
        for of_group, by in zip(groups, numbers, strict=True)
        for place in sorted(range(len(by)), key=by.__getitem__)
    ]


_Value = Callable[[Any, Offered], tuple[int, float]]
_AnyLine = RankedSetting | IndexedSetting


def _order_by_name(sort: str, larger_first: bool) -> Callable[[_AnyLine], tuple[str, int]]:
    def key(line: _AnyLine) -> tuple[str, int]:
        kind = line.row.kind if sort == "kind" else ""
        text = f"{kind}\0{line.row.maker}\0{line.row.model}".casefold()
        if larger_first:  # texts cannot be negated, so each letter is inverted, and the end sorts last
            text = "".join(chr(0x10FFFF - ord(letter)) for letter in text) + "\U0010ffff"
        return text, line.row.position or 0

    return key


def _rate(line: _AnyLine, _: Offered) -> tuple[int, float]:
    rate = line.row.clean_air_delivery_rate_m3_per_h
    if rate is None:
        return 2, 0.0
    return (0, rate) if line.has_rate else (1, 0.0)  # not ranked by noise


def _time_to_clear(line: _AnyLine, _: Offered) -> tuple[int, float]:
    if line.row.time_to_clear_min is not None:
        return 0, line.row.time_to_clear_min
    if line.row.not_cleared_before_min is not None:
        return 1, line.row.not_cleared_before_min
    return 2, 0.0


def _plain(value: float | None) -> tuple[int, float]:
    return (2, 0.0) if value is None else (0, float(value))


def _running_cost(line: RankedSetting, _: Offered) -> tuple[int, float]:
    if line.cost is None:
        return 2, 0.0
    return (1 if line.cost.at_least else 0), line.cost.total_per_year


def _nothing(_line: _AnyLine, _offered: Offered) -> tuple[int, float]:
    return 2, 0.0


_OF_INDEX: dict[str, _Value] = {  # columns of an `IndexedSetting`
    "clean_air_delivery_rate": _rate,
    "air_changes": _rate,
    "standard_clearing_time": lambda line, _: _plain(line.row.standard_clearing_time_min),
    "time_to_clear": _time_to_clear,
    "trials": lambda line, _: _plain(line.row.trials),
}
_VALUES = _OF_INDEX | {
    "sound": lambda line, _: _plain(level_of(line)),
    "power": lambda line, _: _plain(line.row.power_w),
    "price": lambda line, offered: _plain(price_of(line, offered)),
    "running_cost": _running_cost,
}
INDEX_SORTS = frozenset((*_OF_INDEX, "name", "kind"))  # their order follows from an `IndexedSetting`
