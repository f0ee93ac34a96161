"""Chart description, axis ranges, and table."""

import csv
from dataclasses import replace
from io import StringIO
from itertools import pairwise

import pytest

from app.figures.axis_range import axis_range
from app.figures.chart import Chart, Series
from app.figures.palette import CURVE_COLOURS, LINE_STYLES, cues
from app.figures.tables.chart_table import chart_csv, defused
from tests.figures.some_charts import ALL, HARMFUL, bar_chart, interval_chart, line_chart


def test_a_series_with_unequal_lengths_is_refused():
    with pytest.raises(ValueError, match=r"Series 'a' has 2 x and 1 y; both need the same number\."):
        Series("a", "line", (1.0, 2.0), (1.0,))
    with pytest.raises(ValueError, match=r"Series 'a' has 2 x and 3 hover; both need the same number\."):
        Series("a", "line", (1.0, 2.0), (1.0, 2.0), hover=("x", "y", "z"))


def test_a_chart_without_points_is_empty():
    assert replace(line_chart(), series=()).is_empty
    assert not line_chart().is_empty


def test_the_axis_of_stacked_bars_holds_their_sum():
    low, high = axis_range(bar_chart(), "x")
    assert low == 0
    assert 80 < high < 90


def test_the_axis_of_intervals_holds_their_ends():
    assert axis_range(interval_chart(), "x")[1] > 140
    assert axis_range(interval_chart(), "y") == (0.0, 1.0)


def test_a_linear_axis_goes_below_zero_where_values_do():
    chart = replace(line_chart(), series=(Series("a", "line", (0.0, 1.0), (-5.0, 5.0)),), reference_lines=())
    chart = replace(chart, y_axis=replace(chart.y_axis, low=None))
    assert axis_range(chart, "y")[0] == -5.0


def test_a_logarithmic_axis_leaves_out_what_has_no_logarithm():
    chart = replace(line_chart("log"), series=(Series("a", "line", (0.0, 1.0), (0.0, 5.0)),))
    low, high = axis_range(chart, "y")
    assert low > 0
    assert high > 10  # the clear level is in sight


def test_an_axis_never_has_no_length():
    chart = replace(line_chart(), series=(), reference_lines=())
    low, high = axis_range(chart, "y")
    assert high > low


@pytest.mark.parametrize("chart", ALL.values(), ids=ALL.keys())
def test_the_table_holds_exactly_what_is_plotted(chart: Chart):
    rows = list(csv.DictReader(StringIO(chart_csv(chart), newline="")))
    assert len(rows) == sum(len(series.x) for series in chart.plotted)
    flat = [(series, index) for series in chart.plotted for index in range(len(series.x))]
    for row, (series, index) in zip(rows, flat, strict=True):
        for column, value in ((chart.x_column, series.x[index]), (chart.y_column, series.y[index])):
            if value is None:
                assert row[column] == ""
            elif isinstance(value, str):
                assert row[column] == value
            else:
                assert float(row[column]) == value
        assert row["is_bound"] == str(int(bool(series.censored and series.censored[index])))
        assert row["low_95"] == ("" if not series.low or series.low[index] is None else repr(series.low[index]))


@pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t", "\r"])
def test_no_text_of_the_table_is_a_formula(start: str):
    assert defused(f"{start}1+1") == f"'{start}1+1"
    chart = replace(interval_chart(), series=(Series(f"{start}1", "line", (1.0,), (-2.0,)),))
    row = list(csv.reader(StringIO(chart_csv(chart), newline="")))[1]
    assert row[0] == f"'{start}1"
    assert float(row[2]) == -2.0  # a negative number stays a number


def test_neighbouring_curves_differ_in_colour_and_in_line_style():
    pairs = cues(12)
    assert len(set(pairs)) == 12
    assert all(a[0] != b[0] and a[1] != b[1] for a, b in pairwise(pairs))
    assert max(colour for colour, _ in pairs) < len(CURVE_COLOURS)
    assert max(dash for _, dash in pairs) < len(LINE_STYLES)


def test_harmful_names_are_in_the_test_charts():
    assert "<img" in HARMFUL
    assert HARMFUL in interval_chart().y_axis.names
