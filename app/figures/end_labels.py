"""Where the names at the ends of the curves go, the same for every renderer."""

import math
from dataclasses import dataclass

from app.figures.axis_range import axis_range
from app.figures.chart import Axis, Chart, Series
from app.figures.label_spacing import spaced

LABEL_GAP = 0.052  # of the height of the plot: one line of text


@dataclass(frozen=True, slots=True)
class EndLabel:
    """A name at the end of a curve: where the curve ends, and the height at which the name is written."""

    series: Series
    x: float
    y: float
    label_y: float
    censored: bool


def end_labels(chart: Chart) -> list[EndLabel]:
    """The labels of all curves that have one, moved apart on the drawn (linear or logarithmic) axis."""
    low, high = axis_range(chart, "y")
    ends = []
    for series in chart.series:
        if not series.end_label:
            continue
        last = next((i for i in range(len(series.x) - 1, -1, -1) if series.y[i] is not None), None)
        if last is None:
            continue
        censored = bool(series.censored and series.censored[last])
        ends.append((series, float(series.x[last]), float(series.y[last] or 0.0), censored))
    heights = [drawn_height(y, low, high, chart.y_axis) for _, _, y, _ in ends]
    places = spaced(heights, LABEL_GAP, 0.0, 1.0)
    return [
        EndLabel(series, x, y, _level(place, low, high, chart.y_axis), censored)
        for (series, x, y, censored), place in zip(ends, places, strict=True)
    ]


def drawn_height(level: float, low: float, high: float, axis: Axis) -> float:
    """Share of the plot's height at which a level is drawn, held between 0 and 1."""
    if axis.scale == "log":
        level, low, high = (math.log10(max(value, 1e-12)) for value in (level, low, high))
    return min(max((level - low) / (high - low), 0.0), 1.0)


def _level(height: float, low: float, high: float, axis: Axis) -> float:
    if axis.scale == "log":
        return 10 ** (math.log10(low) + height * (math.log10(high) - math.log10(low)))
    return low + height * (high - low)
