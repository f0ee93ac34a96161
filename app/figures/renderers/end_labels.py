"""Positions of the labels at the ends of curves, the same for every renderer."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from app.figures.axis_range import axis_range
from app.figures.chart import Axis, Chart, Series

LABEL_GAP = 0.052  # of the height of the plot: one line of text
_LETTER, _LEADER = 0.0135, 0.03  # of the width of the plot: one letter, and the leader line before the label


@dataclass(frozen=True, slots=True)
class EndLabel:
    """Label at the end of a curve: where the curve ends, and the height of the label."""

    series: Series
    x: float
    y: float
    label_y: float
    censored: bool


def end_labels(chart: Chart) -> list[EndLabel]:
    """The labels of all curves, moved apart on the drawn (linear or logarithmic) axis."""
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
    places = [0.0] * len(ends)
    for side_by_side in _that_may_touch(chart, ends):
        moved = spaced([heights[index] for index in side_by_side], LABEL_GAP, LABEL_GAP / 2, 1.0)
        for index, place in zip(side_by_side, moved, strict=True):
            places[index] = place
    return [
        EndLabel(series, x, y, _level(place, low, high, chart.y_axis), censored)
        for (series, x, y, censored), place in zip(ends, places, strict=True)
    ]


def _that_may_touch(chart: Chart, ends: list[tuple[Series, float, float, bool]]) -> list[list[int]]:
    """Groups of labels that overlap along the x axis, directly or through one another."""
    low, high = axis_range(chart, "x")
    spans = sorted(
        (share, share + _LETTER * len(series.end_label) + _LEADER, index)
        for index, (series, x, _, _) in enumerate(ends)
        for share in [drawn_height(x, low, high, chart.x_axis)]
    )
    groups: list[list[int]] = []
    reach = -1.0
    for start, end, index in spans:
        if start < reach:
            groups[-1].append(index)
        else:
            groups.append([index])
        reach = max(reach, end)
    return groups


def drawn_height(level: float, low: float, high: float, axis: Axis) -> float:
    """Relative height (or width) in the plot of a value, limited to 0 to 1."""
    if axis.scale == "log":
        level, low, high = (math.log10(max(value, 1e-12)) for value in (level, low, high))
    return min(max((level - low) / (high - low), 0.0), 1.0)


def _level(height: float, low: float, high: float, axis: Axis) -> float:
    if axis.scale == "log":
        return 10 ** (math.log10(low) + height * (math.log10(high) - math.log10(low)))
    return low + height * (high - low)


def spaced(wanted: Sequence[float], gap: float, low: float, high: float) -> list[float]:
    """Positions as close as possible to the wanted ones, in the same order, at least `gap` apart, from low to high.

    Overlapping labels move as one block to the mean of their wanted positions (pool adjacent violators, the least
    squares solution). If the space is too small, the gap shrinks evenly.

    >>> spaced([10.0, 10.0, 50.0], 6.0, 0.0, 100.0)
    [7.0, 13.0, 50.0]
    >>> spaced([99.0, 98.0], 6.0, 0.0, 100.0)
    [100.0, 94.0]
    """
    if not wanted:
        return []
    gap = min(gap, (high - low) / max(len(wanted) - 1, 1))
    order = sorted(range(len(wanted)), key=lambda index: (wanted[index], index))
    # with i gaps subtracted, "at least a gap apart" becomes "non-decreasing"
    blocks: list[tuple[float, int]] = []  # mean, number
    for place, index in enumerate(order):
        mean, number = wanted[index] - place * gap, 1
        while blocks and blocks[-1][0] > mean:
            before, count = blocks.pop()
            mean = (before * count + mean * number) / (count + number)
            number += count
        blocks.append((mean, number))
    top = high - (len(wanted) - 1) * gap
    falling_free = [min(max(mean, low), top) for mean, number in blocks for _ in range(number)]
    places = [0.0] * len(wanted)
    for place, index in enumerate(order):
        places[index] = falling_free[place] + place * gap
    return places
