"""A chart as a table: exactly the plotted numbers, one row per value; the band of a curve gives its intervals."""

import csv
from io import StringIO

from app.figures.chart import Chart
from app.figures.date_axis import day_of

# the last four are full-width forms of the first, which some spreadsheets treat alike
_FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")
HEAD = ("series", "low_95", "high_95", "is_bound")


def chart_csv(chart: Chart) -> str:
    """The plotted data as CSV, with units in the column names; a censored value has is_bound 1."""
    out = StringIO()
    writer = csv.writer(out)
    writer.writerow(["series", chart.x_column, chart.y_column, *HEAD[1:]])
    for series in chart.plotted:
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
    """Escapes text that a spreadsheet would run as a formula, with an apostrophe in front.

    >>> defused("=1+1"), defused("＝1+1"), defused("Maker A")
    ("'=1+1", "'＝1+1", 'Maker A')
    """
    return f"'{text}" if text.startswith(_FORMULA_STARTS) else text
