"""A chart as a table: exactly the numbers that are plotted, one row a value."""

import csv
from io import StringIO

from app.figures.chart import Chart
from app.figures.date_axis import day_of

# the last four are the wide forms of the first, which some spreadsheets take alike
_FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")
HEAD = ("series", "low_95", "high_95", "is_bound")


def chart_csv(chart: Chart) -> str:
    """The plotted data as CSV, its columns named with their units; a bound that was not reached says is_bound 1."""
    out = StringIO()
    writer = csv.writer(out)
    writer.writerow(["series", chart.x_column, chart.y_column, *HEAD[1:]])
    for series in chart.series:
        for index, (x, y) in enumerate(zip(series.x, series.y, strict=True)):
            low = series.low[index] if series.low else None
            high = series.high[index] if series.high else None
            bound = int(bool(series.censored and series.censored[index]))
            along = day_of(float(x)).isoformat() if chart.x_axis.scale == "days" else _cell(x)
            writer.writerow([defused(series.name), along, _cell(y), _cell(low), _cell(high), bound])
    return out.getvalue()


def _cell(value: float | str | None) -> str:
    if value is None:
        return ""
    return defused(value) if isinstance(value, str) else repr(float(value))


def defused(text: str) -> str:
    """A text that no spreadsheet takes for a formula: an apostrophe goes before a beginning that it would.

    >>> defused("=1+1"), defused("＝1+1"), defused("Maker A")
    ("'=1+1", "'＝1+1", 'Maker A')
    """
    return f"'{text}" if text.startswith(_FORMULA_STARTS) else text
