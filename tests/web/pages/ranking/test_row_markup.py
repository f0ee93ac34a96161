"""A row made from the template of its shape is the row that the template itself gives."""

from itertools import product

from app.compute.statistics.measured import Measured
from app.services.snapshot.room_shifts import RoomShift
from app.web.pages.cells import Bar, Cell
from app.web.pages.ranking.row_markup import RankingLine, RowColumn, row_markup
from app.web.templating.environment import environment

COLUMNS = (
    RowColumn("clean_air_delivery_rate", True, "Clean air delivery rate, m³/h"),
    RowColumn("sound", False, "Sound, dB(A)"),
    RowColumn("trials", False, "Trials"),
)
BARS = (None, Bar(0.0, 12.5, 0.0, False, "12, 0 to 25"), Bar(40.0, 0.0, None, True, 'not "within" 60 min'))
SHIFT = RoomShift(2, "pm2_5", "smoke", "2026-03-01", None, Measured(0.2, 0.03))


def lines():
    kinds = ("value", "bound", "estimate", "missing")
    for kind, bar, below, further, (setting, trial, shift) in product(
        kinds, BARS, ("", "1 to <2>"), ("", "from 3"), ((7, 8, None), (None, None, SHIFT))
    ):
        cells = (
            Cell(kind, "12 & 3", below, "because it's <b>so</b>", bar, further),
            Cell("value", "", below, "%s and {1}"),
            Cell(kind, "4", reason="one excluded"),
        )
        yield RankingLine(3, setting, "Maker “A” & B", "<Model>", "high\ue0001\ue000", trial, cells, COLUMNS, shift)


def test_a_row_is_what_the_template_gives_for_its_line():
    macros = environment().get_template("partials/ranking_row.html").module
    for line in lines():
        assert row_markup(line) == macros.ranking_row(line)


def test_rows_of_one_shape_have_each_its_own_values():
    first, second = (line._replace(model=name, cells=line.cells) for line, name in zip(lines(), "ab", strict=False))
    assert row_markup(first) != row_markup(first._replace(model="c")) != row_markup(second)
    assert row_markup(first).count("Select a,") == 1
