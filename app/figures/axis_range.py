"""Range of an axis, computed once so that every renderer shows the same."""

from typing import Literal, cast

from app.figures.chart import Chart

_AIR = 0.04  # of the range, left free beyond the largest value
_LOG_AIR = 1.15


def axis_range(chart: Chart, which: Literal["x", "y"]) -> tuple[float, float]:
    """Lower and upper end of an axis: as set by the chart, else from the data with a margin. (0, 1) for a categorical
    axis.

    A linear axis starts at zero, or below for negative values; a logarithmic one at the smallest value.
    """
    axis = chart.x_axis if which == "x" else chart.y_axis
    if axis.names:
        return 0.0, 1.0
    values = _values(chart, which) if axis.low is None or axis.high is None else []
    if axis.scale == "log":
        values = [value for value in values if value > 0]
    low = axis.low if axis.low is not None else min(values, default=0.0)
    high = axis.high if axis.high is not None else max(values, default=1.0)
    if axis.scale == "log":
        low, high = max(low, 1e-9), max(high, 1e-8)
        high *= _LOG_AIR if axis.high is None else 1
    else:
        low = min(low, 0.0) if axis.low is None else low
        runs_to_the_end = which == "x" and not chart.horizontal
        high += 0.0 if axis.high is not None or runs_to_the_end else _AIR * (high - low)
    return (low, high) if high > low else (low, low + 1.0)


def _values(chart: Chart, which: str) -> list[float]:
    """All values along the axis; for bars including their base."""
    along_values = which == ("x" if chart.horizontal else "y")
    values = [line.at for line in chart.reference_lines if line.axis == which]
    stacks: dict[tuple[str, object], float] = {}
    for series in chart.series:
        own, other = (series.x, series.y) if which == "x" else (series.y, series.x)
        if series.kind == "bar" and along_values:
            for place, value in zip(other, own, strict=True):
                key = (series.stack, place)
                stacks[key] = stacks.get(key, 0.0) + (float(value) if isinstance(value, int | float) else 0.0)
            continue
        values += cast(list[float], [value for value in own if value is not None])  # no names along this axis
        if along_values:
            values += [value for value in (*series.low, *series.high) if value is not None]
    return values + list(stacks.values())
