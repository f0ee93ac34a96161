"""Names of curves and points: in the right margin where the curve ends there, else beside its end in free space.

What finds no place goes to the key.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from app.figures.chart import Chart, ReferenceLine, Series
from app.figures.layout.boxes import LABEL_PX, LINE_HEIGHT, SMALL_PX, Align, Box, Leader, PlacedText
from app.figures.layout.ink import InkMap, free_of
from app.figures.layout.positions import OPEN_MARK_PX, Positions, point_radius
from app.figures.layout.spacing import spaced, that_fit
from app.figures.layout.text_size import text_lines, text_width

MARGIN_GAP = 26.0  # from the plot to the labels in the margin, for the leader lines
_MARGIN_SHARE, _MOST_MARGIN_PX = 0.28, 240.0
_AT_THE_END = 0.97  # of the width of the plot: a curve that ends beyond is labelled in the margin
_LINES = 2
_PAD = 2.0
_SIDES = (10.0, 22.0, 38.0, 58.0, 82.0)  # px from the end of a curve to its label
_HEIGHTS = tuple(sign * step for step in range(0, 96, 6) for sign in (-1, 1))[1:]
_NEAR_HEIGHTS = tuple(height for height in _HEIGHTS if abs(height) <= 18)


@dataclass(slots=True)
class Placing:
    """What has been placed so far, and the series that go to the key."""

    chart: Chart
    positions: Positions
    ink: InkMap
    uncrossed: InkMap  # what a leader line must not cross
    limits: Box  # of labels inside and beside the plot
    texts: list[PlacedText] = field(default_factory=list)
    leaders: list[Leader] = field(default_factory=list)
    in_key: list[Series] = field(default_factory=list)
    levels_in_key: list[ReferenceLine] = field(default_factory=list)

    @property
    def font(self) -> str:
        return self.chart.house.font

    def free(self, edges: NDArray[np.float64]) -> Iterator[tuple[int, Box]]:
        """The boxes on nothing drawn or written, each with its column in `edges`: left, top, right and bottom. All at
        once, because beside a thousand points most of hundreds of places are taken.
        """
        limits = self.limits
        inside = (edges[:2] >= [[limits.x0], [limits.y0]]) & (edges[2:] <= [[limits.x1], [limits.y1]])
        for column in (inside.all(axis=0) & self.ink.are_free(edges)).nonzero()[0].tolist():
            box = Box(*edges[:, column].tolist())
            if free_of((text.box for text in self.texts), box):
                yield column, box


def labelled(chart: Chart) -> list[Series]:
    """Series that want a name at their end, the neutral ones first, one for each name."""
    named: dict[str, Series] = {}
    for series in sorted(chart.series, key=lambda series: series.colour is not None):
        if series.end_label and any(y is not None for y in series.y):
            named.setdefault(series.end_label, series)
    return list(named.values())


def end_of(series: Series, positions: Positions) -> tuple[float, float]:
    """Where the series ends [px], kept on the plot."""
    last = next((x, y) for x, y in zip(reversed(series.x), reversed(series.y), strict=True) if y is not None)
    x, y, plot = positions.x(last[0]), positions.y(last[1]), positions.plot
    return min(max(x, plot.x0), plot.x1), min(max(y, plot.y0), plot.y1)


def in_margin(series: Series, chart: Chart, positions: Positions) -> bool:
    x, _ = end_of(series, positions)
    return series.kind != "points" and x >= positions.plot.x0 + _AT_THE_END * positions.plot.width


def margin_lines(series: Series, width: float, font: str) -> list[str]:
    return text_lines(
        series.end_label, min(_MARGIN_SHARE * width, _MOST_MARGIN_PX), LABEL_PX, most=_LINES, even=True, font=font
    )


def margin_width(series: list[Series], chart: Chart, width: float) -> float:
    """Width of the right margin for these labels, and for the words of levels [px]."""
    font = chart.house.font
    lines = [text_width(line, LABEL_PX, font=font) for each in series for line in margin_lines(each, width, font)]
    levels = [text_width(line.label, SMALL_PX, font=font) for line in chart.reference_lines if line.axis == "y"]
    return MARGIN_GAP + max((*lines, *(wide for wide in levels if wide < _MOST_MARGIN_PX)), default=0.0) + 8


@dataclass(frozen=True, slots=True)
class _Wanted:
    """A label for the margin, of a curve or a level, and the end that it names [px]."""

    lines: tuple[str, ...]
    x: float
    y: float
    owner: Series | ReferenceLine

    @property
    def size(self) -> float:
        return LABEL_PX if isinstance(self.owner, Series) else SMALL_PX

    @property
    def height(self) -> float:
        return len(self.lines) * self.size * LINE_HEIGHT + 2 * _PAD


def place_in_margin(placing: Placing, series: list[Series], width: float) -> None:
    """Labels along the right margin, each joined to its curve; those that do not fit go to the key. A level that found
    no place along its line is named there too.
    """
    plot = placing.positions.plot
    wanted = [
        _Wanted((line.label,), plot.x1, placing.positions.y(line.at), line) for line in placing.levels_in_key if series
    ]
    wanted += [
        _Wanted(tuple(margin_lines(each, width, placing.font)), *end_of(each, placing.positions), each)
        for each in series
    ]
    fitting = [wanted[index] for index in that_fit([label.height for label in wanted], plot.height)]
    middles = spaced([label.y for label in fitting], [label.height for label in fitting], plot.y0, plot.y1)
    for label, middle in zip(fitting, middles, strict=True):
        _place_in_margin(placing, label, middle)
    left_over = [label.owner for label in wanted if label not in fitting]
    placing.in_key += [owner for owner in left_over if isinstance(owner, Series)]
    if series:
        placing.levels_in_key = [owner for owner in left_over if isinstance(owner, ReferenceLine)]


def _place_in_margin(placing: Placing, label: _Wanted, middle: float) -> None:
    left, half = placing.positions.plot.x1 + MARGIN_GAP, label.height / 2 - _PAD
    wide = max(text_width(line, label.size, font=placing.font) for line in label.lines)
    box = Box(left, middle - half, left + wide, middle + half)
    if isinstance(label.owner, Series):
        text = PlacedText("end", label.lines, box, series=label.owner, at_data=last_values(label.owner))
        leader = Leader(label.x + _clear_of(label.owner), label.y, left - 4, middle, label.owner)
    else:
        text = PlacedText("level", label.lines, box, size=SMALL_PX, faded=True, at_data=(0.0, label.owner.at))
        leader = Leader(label.x, label.y, left - 4, middle)
    placing.texts.append(text)
    placing.leaders.append(leader)


def place_beside_ends(placing: Placing, wanted: list[Series]) -> None:
    """Labels beside the ends of curves and points inside the plot; those without a free place go to the key."""
    for series in wanted:
        room = min(_MOST_MARGIN_PX, placing.limits.width / 2)
        words = tuple(text_lines(series.end_label, room, LABEL_PX, most=_LINES, even=True, font=placing.font))
        near = series.kind == "points"  # points are many and alike: a long leader line would cross the others
        heights, sides = (_NEAR_HEIGHTS, _SIDES[:2]) if near else (_HEIGHTS, _SIDES)
        if not _place(placing, series, words, "end", heights, sides):
            placing.in_key.append(series)


def place_numbers(placing: Placing) -> dict[str, str]:
    """Numbers at the points that are named in the key, because points look alike; by the name of the series."""
    numbers: dict[str, str] = {}
    for series in placing.in_key:
        if series.kind == "points":
            number = str(len(numbers) + 1)
            numbers[series.end_label] = number
            if not _place(placing, series, (number,), "number", _HEIGHTS, _SIDES):
                numbers[series.end_label] = ""
    return numbers


def place_levels(placing: Placing) -> None:
    """The words of horizontal lines, at the first free place along them, above or below; else in the key."""
    plot, font = placing.positions.plot, placing.font
    for line in placing.chart.reference_lines:
        if line.axis != "y" or not line.label:
            continue
        at = placing.positions.y(line.at)
        wide, high = text_width(line.label, SMALL_PX, font=font), SMALL_PX * LINE_HEIGHT
        if at < plot.y0 - 1 or at > plot.y1 + 1:
            continue
        left = plot.x0 + 6 + 5 * np.arange(int(max(plot.width - wide - 10, 0) / 5) + 1)
        top = np.repeat([at - high - 3, at + 4], left.size)
        left = np.concatenate([left, left])
        free = next(placing.free(np.array([left, top, left + wide, top + high])), None)
        if free is None:
            placing.levels_in_key.append(line)
        else:
            text = PlacedText("level", (line.label,), free[1], size=SMALL_PX, faded=True, at_data=(0.0, line.at))
            placing.texts.append(text)


@lru_cache
def _offsets(heights: tuple[float, ...], sides: tuple[float, ...]) -> tuple[NDArray[Any], ...]:
    """Where a label may be, from the nearest place to the farthest; on the left only where the right is taken: aside,
    below, and whether to the left.
    """
    places = [(side, height, to_left) for side in sides for height in heights for to_left in (False, True)]
    places.sort(key=lambda place: (abs(place[1]) + place[0] + (8 if place[2] else 0), place))
    return tuple(np.array(each) for each in zip(*places, strict=True))


def _place(
    placing: Placing,
    series: Series,
    words: tuple[str, ...],
    kind: str,
    heights: tuple[float, ...],
    sides: tuple[float, ...],
) -> bool:
    """Places words as near as possible to the end of a series, on either side; False without a free place."""
    x, y = end_of(series, placing.positions)
    size = LABEL_PX if kind == "end" else SMALL_PX
    wide = max(text_width(line, size, font=placing.font) for line in words)
    half = len(words) * size * LINE_HEIGHT / 2
    start = _clear_of(series)
    side, height, to_left = _offsets(heights, sides)
    edge = np.where(to_left, x - side, x + side)
    left, middle = np.where(to_left, edge - wide, edge), y + height
    for place, box in placing.free(np.array([left, middle - half, left + wide, middle + half])):
        near = abs(height[place]) <= 6 and side[place] <= 10
        target = (float(edge[place] + (3 if to_left[place] else -3)), float(middle[place]))
        if not near and (
            placing.uncrossed.crossings((x, y), target, start + 5)
            or any(_crosses(text.box, (x, y), target) for text in placing.texts)
        ):
            continue
        align: Align = "right" if to_left[place] else "left"
        at_data = last_values(series)
        placing.texts.append(PlacedText(kind, words, box, align, size, series=series, at_data=at_data))
        if not near:
            _join(placing, series, (x, y), target, start)
        return True
    return False


def _join(
    placing: Placing, series: Series, end: tuple[float, float], target: tuple[float, float], start: float
) -> None:
    (x, y), (to_x, to_y) = end, target
    length = max(((to_x - x) ** 2 + (to_y - y) ** 2) ** 0.5, 1.0)
    share = min(start / length, 0.8)
    leader = Leader(x + share * (to_x - x), y + share * (to_y - y), to_x, to_y, series)
    placing.leaders.append(leader)
    for ink in (placing.ink, placing.uncrossed):
        ink.add_line([(leader.x0, leader.y0), (leader.x1, leader.y1)], 1.0)
    placing.ink.seal()


def _crosses(box: Box, start: tuple[float, float], end: tuple[float, float]) -> bool:
    """Whether a line passes through a box or closer than 2 px: its part within the box's columns meets its rows."""
    first, last = 0.0, 1.0
    for at, to, low, high in ((start[0], end[0], box.x0, box.x1), (start[1], end[1], box.y0, box.y1)):
        if at == to:
            if not low - 2 <= at <= high + 2:
                return False
            continue
        shares = sorted(((low - 2 - at) / (to - at), (high + 2 - at) / (to - at)))
        first, last = max(first, shares[0]), min(last, shares[1])
    return first <= last


def _clear_of(series: Series) -> float:
    """How far a leader stays away from the end of its series [px]."""
    if series.kind == "points":
        return point_radius(series) + 1
    return OPEN_MARK_PX + 2 if series.censored and series.censored[-1] else 3.0


def last_values(series: Series) -> tuple[float, float]:
    """The last point of a series in the units of its axes."""
    return next(
        (float(x), float(y)) for x, y in zip(reversed(series.x), reversed(series.y), strict=True) if y is not None
    )
