"""Markup of a row of the ranking. Rows with the same kinds of cells have the same markup around their values, so the
template is rendered once for each such shape, with marks in place of the values.
"""

import re
from functools import lru_cache
from operator import itemgetter
from typing import Any, NamedTuple

from markupsafe import Markup, escape

from app.services.snapshot.room_shifts import RoomShift
from app.web.pages.cells import Bar, Cell
from app.web.templating.environment import environment


class RowColumn(NamedTuple):
    """Column data that a line needs besides its unit."""

    key: str
    has_bar: bool
    label: str


class RankingLine(NamedTuple):
    """One line of the table, cells in the order of its columns. `shift` : of the room, between its trials"""

    unit_id: int
    setting_id: int | None
    maker: str
    model: str
    setting: str
    latest_trial_id: int | None
    cells: tuple[Cell, ...]
    columns: tuple[RowColumn, ...]
    shift: RoomShift | None = None


class _CellShape(NamedTuple):
    """What of a cell decides on its markup. `bar` : 0 none, 1 open-ended, 2 an interval, 3 one with a point"""

    kind: str
    has_below: bool
    has_further: bool
    bar: int


class _RowShape(NamedTuple):
    columns: tuple[RowColumn, ...]
    shift: RoomShift | None
    has_setting: bool
    has_trial: bool
    cells: tuple[_CellShape, ...]


class _RowOfShape(NamedTuple):
    """Markup with a gap in every second place, and which value belongs into each gap."""

    parts: list[str]
    order: Any


_MARK = "\ue000{}\ue000"
_MARKS = re.compile("\ue000(\\d+)\ue000")
_OF_LINE, _OF_CELL = 6, 8  # values of a line besides its cells, and of each cell
_NO_BAR: tuple[Any, ...] = ("", "", "", "")


def row_markup(line: RankingLine) -> Markup:
    """The row after its rank, as the template gives it."""
    values: list[Any] = [*line[:_OF_LINE]]
    shapes = []
    for kind, text, below, reason, bar, further in line.cells:
        if bar is None:
            has_bar, drawn = 0, _NO_BAR
        else:
            has_bar = 1 if bar.open_ended else 2 if bar.value is None else 3
            drawn = (bar.low, bar.width, bar.value, bar.words)
        values += (text, below, reason, further, *drawn)
        shapes.append(_CellShape(kind, bool(below), bool(further), has_bar))
    shape = _RowShape(line.columns, line.shift, bool(line.setting_id), bool(line.latest_trial_id), tuple(shapes))
    of_shape = _row_of_shape(shape)
    row = of_shape.parts.copy()
    row[1::2] = map(escape, of_shape.order(values))
    return Markup("".join(row))


@lru_cache(maxsize=1024)
def _row_of_shape(shape: _RowShape) -> _RowOfShape:
    macros: Any = environment().get_template("partials/ranking_row.html").module
    parts = _MARKS.split(str(macros.ranking_row(_marked(shape))))
    return _RowOfShape(parts, itemgetter(*map(int, parts[1::2])))


def _marked(shape: _RowShape) -> RankingLine:
    """A line of this shape with a mark, the place among its values, for each value."""
    unit, setting, *names, trial = (_MARK.format(place) for place in range(_OF_LINE))
    cells = []
    for number, cell in enumerate(shape.cells):
        first = _OF_LINE + number * _OF_CELL
        text, below, reason, further, *drawn = (_MARK.format(first + place) for place in range(_OF_CELL))
        cells.append(
            Cell(
                cell.kind,
                text,
                below if cell.has_below else "",
                reason,
                _marked_bar(cell.bar, *drawn),
                further if cell.has_further else "",
            )
        )
    marked: Any = (
        unit,
        setting if shape.has_setting else None,
        *names,
        trial if shape.has_trial else None,
        tuple(cells),
        shape.columns,
        shape.shift,
    )
    return RankingLine._make(marked)


def _marked_bar(kind: int, low: Any, width: Any, value: Any, words: str) -> Bar | None:
    return Bar(low, width, value if kind == 3 else None, kind == 1, words) if kind else None
