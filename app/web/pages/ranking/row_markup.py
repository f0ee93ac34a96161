"""Markup of a row of the ranking. Rows with the same kinds of cells have the same markup around their values, so the
template is rendered once for each such shape, with marks in place of the values.
"""

import re
from functools import lru_cache
from itertools import count, islice
from operator import itemgetter
from typing import Any, NamedTuple, cast

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


class _RowShape(NamedTuple):
    """What of a line decides on its markup.

    cells : kind of each cell, and which of its parts it has, as a sum of `_BELOW` to `_POINT`
    """

    columns: tuple[RowColumn, ...]
    shift: RoomShift | None
    has_setting: bool
    has_trial: bool
    cells: tuple[str | int, ...]


class _RowOfShape(NamedTuple):
    """Markup with a gap in every second place, and which value belongs into each gap."""

    parts: list[str]
    order: Any


_BELOW, _FURTHER, _BAR, _OPEN, _POINT = 1, 2, 4, 8, 16
_MARK = "\ue000{}\ue000"
_MARKS = re.compile("\ue000(\\d+)\ue000")
_BETWEEN = "\ue001"  # a stored text may hold it, but does so hardly ever


def row_markup(line: RankingLine) -> Markup:
    """The row after its rank, as the template gives it."""
    unit, setting, maker, model, name, trial, cells, columns, shift = line
    values: list[Any] = [unit, setting, maker, model, name, trial]
    shapes: list[str | int] = []
    for kind, text, below, reason, bar, further in cells:
        values += (text, reason)
        parts = 0
        if below:
            parts = _BELOW
            values.append(below)
        if further:
            parts += _FURTHER
            values.append(further)
        if bar is not None:
            values += bar
            parts += _BAR + (_OPEN if bar.open_ended else 0 if bar.value is None else _POINT)
        shapes += (kind, parts)
    fixed, order = _row_of_shape(_RowShape(columns, shift, bool(setting), bool(trial), tuple(shapes)))
    row = fixed.copy()
    row[1::2] = _escaped(list(map(str, order(values))))
    return Markup("".join(row))


def _escaped(texts: list[str]) -> list[str]:
    """Escaped at once, which takes a tenth of the time of one after the other."""
    found = str(escape(_BETWEEN.join(texts))).split(_BETWEEN)
    return found if len(found) == len(texts) else [str(escape(text)) for text in texts]


@lru_cache(maxsize=1024)
def _row_of_shape(shape: _RowShape) -> _RowOfShape:
    macros: Any = environment().get_template("partials/ranking_row.html").module
    parts = _MARKS.split(str(macros.ranking_row(_marked(shape))))
    return _RowOfShape(parts, itemgetter(*map(int, parts[1::2])))


def _marked(shape: _RowShape) -> RankingLine:
    """A line of this shape with a mark, the place among its values, in place of each value."""
    marks: Any = map(_MARK.format, count())
    unit, setting, maker, model, name, trial = islice(marks, 6)
    cells = []
    for kind, parts in zip(shape.cells[::2], cast(tuple[int, ...], shape.cells[1::2]), strict=True):
        text, reason = islice(marks, 2)
        below = next(marks) if parts & _BELOW else ""
        further = next(marks) if parts & _FURTHER else ""
        bar = None
        if parts & _BAR:
            bar = Bar(*islice(marks, len(Bar._fields)))
            bar = bar._replace(value=bar.value if parts & _POINT else None, open_ended=bool(parts & _OPEN))
        cells.append(Cell(str(kind), text, below, reason, bar, further))
    return RankingLine(
        unit,
        setting if shape.has_setting else None,
        maker,
        model,
        name,
        trial if shape.has_trial else None,
        tuple(cells),
        shape.columns,
        shape.shift,
    )
