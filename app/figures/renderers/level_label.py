"""Position of the label of a level line: along the line, where no curve, point or mark crosses it."""

import math
from collections.abc import Iterator

from app.figures.axis_range import axis_range
from app.figures.chart import Axis, Chart, ReferenceLine

_HEIGHT = 0.075  # of the plot, from the line to the top of the text
_PHONE, _DESK = 0.48, 0.16  # of the width of the plot, taken by the text
_HAIR = 0.005  # on each side of a curve or a point
_MARK = 0.012  # on each side of a vertical line and its handle


def label_place(chart: Chart, line: ReferenceLine) -> float:
    """Start of the label of a level line, as a share of the width: the left end if free, else the first gap wide enough
    for a phone, else the widest gap; the left end if there is none.
    """
    if chart.x_axis.names or chart.y_axis.names:
        return 0.0
    gaps, free_from = [], 0.0
    for start, end in sorted(_crossings(chart, line)):
        gaps.append((free_from, start - free_from))
        free_from = max(free_from, end)
    gaps.append((free_from, 1.0 - free_from))
    for least in (_PHONE, _DESK):
        wide = [gap for gap in gaps if gap[1] >= least]
        if wide:
            return wide[0][0] if least == _PHONE else max(wide, key=lambda gap: gap[1])[0]
    return 0.0


def _crossings(chart: Chart, line: ReferenceLine) -> Iterator[tuple[float, float]]:
    """Ranges of the width that are covered at the height of the label."""
    x_ends, y_ends = axis_range(chart, "x"), axis_range(chart, "y")
    low = _share(line.at, chart.y_axis, y_ends)
    high = low + _HEIGHT
    # prefilter by value: most of some thousand points are elsewhere, so their share is not needed
    lowest, highest = line.at, _value(high, chart.y_axis, y_ends)

    def at(x: float, y: float) -> tuple[float, float]:
        return _share(x, chart.x_axis, x_ends), _share(y, chart.y_axis, y_ends)

    upright = [other.at for other in chart.reference_lines if other.axis == "x"]
    for mark in (*upright, *(end for region in chart.regions for end in (region.low, region.high))):
        place = _share(mark, chart.x_axis, x_ends)
        yield place - _MARK, place + _MARK
    for series in chart.series:
        if series.kind == "points":
            for x, y in zip(series.x, series.y, strict=True):
                if y is not None and not isinstance(y, str) and lowest <= y <= highest and not isinstance(x, str):
                    place = _share(x, chart.x_axis, x_ends)
                    yield place - _HAIR, place + _HAIR
        elif series.kind in ("line", "step"):
            before: tuple[float, float] | None = None
            for x, y in zip(series.x, series.y, strict=True):
                if y is None or isinstance(x, str) or isinstance(y, str):
                    before = None
                    continue
                start = before or (x, y)
                if (y <= highest or start[1] <= highest) and (y >= lowest or start[1] >= lowest):
                    yield _inside(at(*start), at(x, y), low, high)
                before = x, y


def _inside(start: tuple[float, float], end: tuple[float, float], low: float, high: float) -> tuple[float, float]:
    """The part of a line segment, along the width, between two heights, with a margin on each side."""
    (x0, y0), (x1, y1) = start, end
    ends = [x0, x1]
    if y1 != y0:
        ends = [x0 + (x1 - x0) * min(max((level - y0) / (y1 - y0), 0.0), 1.0) for level in (low, high)]
    return min(ends) - _HAIR, max(ends) + _HAIR


def _share(value: float, axis: Axis, ends: tuple[float, float]) -> float:
    """Relative position of a value on an axis, from 0 to 1."""
    low, high = ends
    if axis.scale == "log":
        low, high, value = math.log(low), math.log(high), math.log(max(value, 1e-12))
    return (value - low) / (high - low)


def _value(share: float, axis: Axis, ends: tuple[float, float]) -> float:
    """The value at a relative position on an axis."""
    low, high = ends
    if axis.scale == "log":
        return math.exp(math.log(low) + share * (math.log(high) - math.log(low)))
    return low + share * (high - low)
