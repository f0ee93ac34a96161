"""Lines of the ranking table: cells in the order of the columns, the axes of drawn columns, and the markup of a row."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, NamedTuple

from markupsafe import Markup

from app.compute.wording.rounding import rounded_text
from app.services.ranking.table import RankedSetting, Ranking
from app.services.snapshot.bench_snapshot import BenchSnapshot
from app.web.forms.unit_system import UnitSystem
from app.web.pages.cells import CELL_OF, Cell, Scales
from app.web.pages.ranking.columns import ALL_USUAL, PickedColumns
from app.web.pages.ranking.rank_cells import RankCell
from app.web.pages.ranking.row_markup import RankingLine, RowColumn, row_markup
from app.web.templating.environment import environment
from app.web.templating.page_context import Column

_STEPS = (1.0, 2.0, 2.5, 5.0, 10.0)
_MOST_STEPS = 4


@dataclass(frozen=True, slots=True)
class Axis:
    """An axis from zero to `top`.

    ticks : position in percent of the axis, and label
    """

    top: float
    ticks: tuple[tuple[float, str], ...]


def axis_to(highest: float) -> Axis | None:
    """The shortest axis with at most five round ticks that includes a value; None without a value above zero.

    >>> axis_to(586.0)
    Axis(top=600.0, ticks=((0.0, '0'), (33.3, '200'), (66.7, '400'), (100.0, '600')))
    >>> axis_to(0.8).ticks[-1], axis_to(0.0)
    ((100.0, '0.8'), None)
    """
    if not highest > 0 or math.isinf(highest):
        return None
    decade = 10.0 ** math.floor(math.log10(highest / _MOST_STEPS))
    step = next(decade * step for step in _STEPS if decade * step * _MOST_STEPS >= highest * (1 - 1e-9))
    number = math.ceil(highest / step * (1 - 1e-9))
    top = step * number
    decimals = max(0, -math.floor(math.log10(step) + 1e-9)) + (1 if _has_half(step) else 0)
    return Axis(
        round(top, 12),
        tuple((round(100 * place / number, 1), rounded_text(step * place, decimals)) for place in range(number + 1)),
    )


def _has_half(step: float) -> bool:
    """Whether the step is 2.5 of its decade and below 25, so that its multiples need one more decimal."""
    decade = 10.0 ** math.floor(math.log10(step) + 1e-9)
    return abs(step / decade - 2.5) < 1e-9 and decade <= 1


class Axes(NamedTuple):
    """Axes of the drawn columns; None without a value."""

    rate: Axis | None
    time: Axis | None


def axes_of(ranking: Ranking, system: UnitSystem) -> Axes:
    return Axes(axis_to(ranking.highest_rate_m3_per_h * system.flow_factor), axis_to(ranking.longest_time_min))


def _top(axis: Axis | None, highest: float) -> float:
    return highest if axis is None else axis.top


def ranking_rows(
    ranking: Ranking,
    system: UnitSystem,
    picked: PickedColumns,
    columns: tuple[Column, ...],
    snapshot: BenchSnapshot | None,
) -> tuple[Markup, ...]:
    """The rows shown, as markup. A snapshot caches them, because they follow from the ranked settings alone."""
    layout = _layout_of(ranking, system, picked, columns)
    pairs = zip(ranking.lines, picked.cells or ((),) * len(ranking.lines), strict=True)
    if snapshot is None:
        return tuple(_row(line, layout, more) for line, more in pairs)
    return tuple(snapshot.of_row(_row, line, layout, more) for line, more in pairs)


def usual_lines(ranking: Ranking, system: UnitSystem, columns: tuple[Column, ...]) -> tuple[RankingLine, ...]:
    """The lines shown, with the usual columns, for another page than the ranking of the bench."""
    layout = _layout_of(ranking, system, ALL_USUAL, columns)
    return tuple(_line(line, layout, ()) for line in ranking.lines)


def _layout_of(ranking: Ranking, system: UnitSystem, picked: PickedColumns, columns: tuple[Column, ...]) -> "RowLayout":
    axes = axes_of(ranking, system)
    scales = Scales(
        system,
        ranking.room,
        ranking.choices.channel,
        ranking.offered.currency,
        _top(axes.rate, ranking.highest_rate_m3_per_h * system.flow_factor) / system.flow_factor,
        _top(axes.time, ranking.longest_time_min),
    )
    return _layout(
        scales,
        picked.usual,
        tuple(
            RowColumn(column.key, column.has_bar, ", ".join(filter(None, (column.words, column.unit_symbol))))
            for column in columns[1:]
        ),
    )


@dataclass(frozen=True, slots=True, eq=False)
class RowLayout:
    """What all lines of a table share. Equal layouts are one object, so that the key of a cached line is short."""

    scales: Scales
    usual: tuple[str, ...]
    columns: tuple[RowColumn, ...]


@lru_cache(maxsize=64)
def _layout(scales: Scales, usual: tuple[str, ...], columns: tuple[RowColumn, ...]) -> RowLayout:
    return RowLayout(scales, usual, columns)


def body_of(rows: Sequence[Markup], ranks: Sequence[RankCell]) -> tuple[Markup, ...]:
    """The rows of the table, as parts to be written one after the other: joining them here would copy a large page."""
    return tuple(part for rank, row in zip(ranks, rows, strict=True) for part in (_rank_markup(rank), row))


@lru_cache(maxsize=2048)
def _rank_markup(rank: RankCell) -> Markup:
    macros: Any = environment().get_template("partials/rank_cell.html").module
    cell: Markup = macros.rank_cell(rank)
    return cell


def _row(line: RankedSetting, layout: RowLayout, further_cells: tuple[Cell, ...]) -> Markup:
    return row_markup(_line(line, layout, further_cells))


def _line(line: RankedSetting, layout: RowLayout, further_cells: tuple[Cell, ...]) -> RankingLine:
    row = line.row
    return RankingLine(
        row.unit_id,
        row.setting_id,
        row.maker,
        row.model,
        row.setting or "no setting recorded",
        row.latest_trial_id,
        (*(CELL_OF[column](line, layout.scales) for column in layout.usual), *further_cells),
        layout.columns,
        line.shift,
    )
