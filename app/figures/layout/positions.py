"""Positions of a chart's values on its canvas, and everything that its data cover."""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from app.figures.chart import Axis, Chart, Position, Series
from app.figures.layout.boxes import Box
from app.figures.layout.ink import InkMap

OPEN_MARK_PX = 8.0  # reach of the open mark at the end of a bound
HANDLE_PX = 11.0
BAR_SHARE = 0.62  # of a row
_FEW = 60  # points; more of them are drawn smaller


def point_radius(series: Series) -> float:
    """Radius of the drawn points [px]."""
    return 2.0 if series.faint else (4.5 if len(series.x) <= _FEW else 2.5)


@dataclass(frozen=True, slots=True)
class Positions:
    """Converts values of a chart to pixels inside its plot. `x_ends`, `y_ends`: the ranges of its axes."""

    chart: Chart
    plot: Box
    x_ends: tuple[float, float]
    y_ends: tuple[float, float]

    def x(self, value: Position) -> float:
        return self.plot.x0 + float(_place(self.chart.x_axis, self.x_ends, value)) * self.plot.width

    def y(self, value: Position) -> float:
        """Names go downwards, numbers upwards."""
        share = float(_place(self.chart.y_axis, self.y_ends, value))
        names = bool(self.chart.y_axis.names)
        return self.plot.y0 + (share if names else 1 - share) * self.plot.height

    def runs(self, series: Series) -> list[np.ndarray]:
        """The points of a series in pixels, in runs without a missing value, each of shape (n, 2)."""
        at, known = self._points(series.x, series.y)
        breaks = np.flatnonzero(np.diff(known)) + 1
        parts = zip(np.split(at, breaks), np.split(known, breaks), strict=True)
        return [run for run, is_known in parts if is_known.any()]

    def band(self, series: Series) -> tuple[np.ndarray, np.ndarray]:
        """The lower and the upper side of a band in pixels, each of shape (n, 2)."""
        lower, has_low = self._points(series.x, series.low)
        upper, has_high = self._points(series.x, series.high)
        known = has_low & has_high
        return lower[known], upper[known]

    def _points(self, xs: Sequence[Position], ys: Sequence[Position | None]) -> tuple[np.ndarray, np.ndarray]:
        """Points in pixels, and which of them have a value."""
        known = np.array([y is not None for y in ys], dtype=bool)
        x_share = _places(self.chart.x_axis, self.x_ends, xs)
        y_share = _places(self.chart.y_axis, self.y_ends, ys)
        if not self.chart.y_axis.names:
            y_share = 1 - y_share
        plot = self.plot
        return np.column_stack((plot.x0 + x_share * plot.width, plot.y0 + y_share * plot.height)), known


def _place(axis: Axis, ends: tuple[float, float], value: Any) -> Any:
    """The relative place of a value on the axis, within it or slightly outside; of numbers, also of a whole array."""
    if axis.names:
        return (axis.names.index(value) + 0.5) / len(axis.names)
    low, high = ends
    if axis.scale == "log":
        low, high, value = (np.log10(np.maximum(each, 1e-12)) for each in (low, high, value))
    return np.minimum(np.maximum((value - low) * (1 / (high - low)), -0.5), 1.5)


def _places(axis: Axis, ends: tuple[float, float], values: Sequence[Position | None]) -> np.ndarray:
    """The relative places of many values on the axis; NaN for a missing one."""
    if axis.names:
        return np.array([math.nan if value is None else _place(axis, ends, value) for value in values])
    found: np.ndarray = _place(axis, ends, np.array(values, dtype=float))
    return found


def ink_of(chart: Chart, positions: Positions, width: float, height: float) -> tuple[InkMap, InkMap]:
    """Everything that data, reference lines and axes cover; and without the faint series, which a leader line may
    cross.
    """
    ink, plot = InkMap(width, height), positions.plot
    ink.add_line([(plot.x0, plot.y0), (plot.x0, plot.y1)], 0.5)
    ink.add_line([(plot.x0, plot.y1), (plot.x1, plot.y1)], 0.5)
    for line in chart.reference_lines:
        if line.axis == "x":
            ink.add_line([(positions.x(line.at), plot.y0), (positions.x(line.at), plot.y1)], 1.0)
            ink.add_box(_handle(positions, line.at))
        else:
            ink.add_line([(plot.x0, positions.y(line.at)), (plot.x1, positions.y(line.at))], 0.5)
    for region in chart.regions:
        ink.add_box(_handle(positions, region.low))
        ink.add_box(_handle(positions, region.high))
    stacks: dict[tuple[str, Position], float] = {}
    for series in chart.series:
        if not series.faint:
            _add_series(series, positions, ink, stacks)
    with_faint = ink.copy()
    for series in chart.series:
        if series.faint:
            _add_series(series, positions, with_faint, stacks)
    ink.seal()
    with_faint.seal()
    return with_faint, ink


def _add_series(series: Series, positions: Positions, ink: InkMap, stacks: dict[tuple[str, Position], float]) -> None:
    if series.kind == "points":
        for run in positions.runs(series):
            ink.add_points(run, point_radius(series))
    elif series.kind == "band":
        ink.add_band(*positions.band(series))
    elif series.kind == "bar":
        for box in bar_boxes(series, positions, stacks):
            ink.add_box(box)
    elif series.kind == "interval":
        for box in _intervals(series, positions):
            ink.add_box(box)
    else:
        _add_line(series, positions, ink)


def _handle(positions: Positions, at: float) -> Box:
    """Where the page of a trial puts the handle of a mark: at the foot of its line."""
    x, bottom = positions.x(at), positions.plot.y1
    return Box(x - HANDLE_PX, bottom - 2 * HANDLE_PX, x + HANDLE_PX, bottom)


def _add_line(series: Series, positions: Positions, ink: InkMap) -> None:
    for run in positions.runs(series):
        ink.add_line(stepped(run) if series.kind == "step" else run)
        if series.censored and series.censored[-1]:
            ink.add_points(run[-1:], OPEN_MARK_PX)


def stepped(run: np.ndarray) -> np.ndarray:
    """Constant to the next x: a corner between each point and the next."""
    corners = np.column_stack((run[1:, 0], run[:-1, 1]))
    steps = np.empty((2 * len(run) - 1, 2))
    steps[::2], steps[1::2] = run, corners
    return steps


def _along(series: Series, chart: Chart) -> Iterator[tuple[int, float, Position]]:
    """Index, value and name of each bar or interval."""
    values, names = (series.x, series.y) if chart.horizontal else (series.y, series.x)
    for index, (value, name) in enumerate(zip(values, names, strict=True)):
        if isinstance(value, int | float) and name is not None:
            yield index, float(value), name


def _between(positions: Positions, name: Position, ends: tuple[float, float], half: float) -> Box:
    """The box between two values at one name, so many pixels to each side of its middle."""
    if positions.chart.horizontal:
        first, second, middle = positions.x(ends[0]), positions.x(ends[1]), positions.y(name)
        return Box(min(first, second), middle - half, max(first, second), middle + half)
    first, second, middle = positions.y(ends[0]), positions.y(ends[1]), positions.x(name)
    return Box(middle - half, min(first, second), middle + half, max(first, second))


def bar_boxes(series: Series, positions: Positions, stacks: dict[tuple[str, Position], float]) -> Iterator[Box]:
    """The bars of a series, each from where the one before it in its stack ends."""
    chart, plot = positions.chart, positions.plot
    rows = len(chart.y_axis.names if chart.horizontal else chart.x_axis.names) or 1
    half = BAR_SHARE / 2 * (plot.height if chart.horizontal else plot.width) / rows
    for _, value, name in _along(series, chart):
        start = stacks.get((series.stack, name), 0.0)
        stacks[series.stack, name] = start + value
        yield _between(positions, name, (start, start + value), half)


def _intervals(series: Series, positions: Positions) -> Iterator[Box]:
    end = (positions.x_ends if positions.chart.horizontal else positions.y_ends)[1]
    for index, value, name in _along(series, positions.chart):
        low = series.low[index] if series.low else None
        high = series.high[index] if series.high else None
        bound = bool(series.censored and series.censored[index])
        ends = (value, end) if bound else (value if low is None else low, value if high is None else high)
        yield _between(positions, name, ends, OPEN_MARK_PX)
