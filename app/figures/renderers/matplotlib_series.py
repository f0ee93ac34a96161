"""Draws the series of a chart on matplotlib axes, each kind in its own way."""

from dataclasses import dataclass, field
from typing import Any

from app.figures.axis_range import axis_range
from app.figures.chart import Axis, Chart, Series
from app.figures.layout.positions import BAR_SHARE, point_radius
from app.figures.palette import REFERENCE_STYLE, colour_of, line_style_of


def places_on(axis: Axis, values: tuple[Any, ...]) -> list[Any]:
    """Names as positions on the axis; a missing number as not-a-number, which leaves a gap."""
    if axis.names:
        places = {name: place for place, name in enumerate(axis.names)}
        return [places[value] for value in values]
    return [float("nan") if value is None else value for value in values]


@dataclass(slots=True)
class SeriesDrawing:
    """The series of one chart on its axes. `bar_ends` says where the next bar of each stack begins."""

    chart: Chart
    axes: Any
    ink: str
    bar_ends: dict[Any, float] = field(default_factory=dict)

    def draw(self, series: Series) -> None:
        draw_kind = {
            "line": self._line,
            "step": self._step,
            "points": self._points,
            "band": self._band,
            "bar": self._bar,
            "interval": self._interval,
        }[series.kind]
        x, y = places_on(self.chart.x_axis, series.x), places_on(self.chart.y_axis, series.y)
        colour = colour_of(series.colour, self.ink, self.chart.house.accent)
        draw_kind(series, x, y, colour)

    def _line(self, series: Series, x: Any, y: Any, colour: str, **more: Any) -> None:
        style = REFERENCE_STYLE if series.colour is None else line_style_of(series.dash)
        self.axes.plot(x, y, color=colour, linewidth=1.7, linestyle=style.matplotlib, zorder=3, **more)
        if series.censored and series.censored[-1]:
            self._open_mark([x[-1]], [y[-1]], colour)

    def _step(self, series: Series, x: Any, y: Any, colour: str) -> None:
        self._line(series, x, y, colour, drawstyle="steps-post")

    def _points(self, series: Series, x: Any, y: Any, colour: str) -> None:
        size, alpha = 2 * point_radius(series) * 0.75, 0.35 if series.faint else 1.0
        self.axes.plot(x, y, "o", color=colour, markersize=size, alpha=alpha, markeredgewidth=0, zorder=2)

    def _band(self, series: Series, x: Any, y: Any, colour: str) -> None:
        low, high = (places_on(self.chart.y_axis, values) for values in (series.low, series.high))
        self.axes.fill_between(x, low, high, color=colour, alpha=0.16, linewidth=0, zorder=1)

    def _bar(self, series: Series, x: Any, y: Any, colour: str) -> None:
        along, places = (x, y) if self.chart.horizontal else (y, x)
        lengths = [0.0 if value != value else value for value in along]
        starts = [self.bar_ends.get((series.stack, place), 0.0) for place in places]
        draw = self.axes.barh if self.chart.horizontal else self.axes.bar
        base = {"left": starts} if self.chart.horizontal else {"bottom": starts}
        size = {"height": BAR_SHARE} if self.chart.horizontal else {"width": BAR_SHARE}
        draw(places, lengths, color=colour, zorder=2, **base, **size)
        for place, start, length in zip(places, starts, lengths, strict=True):
            self.bar_ends[series.stack, place] = start + length

    def _interval(self, series: Series, x: Any, y: Any, colour: str) -> None:
        along, places = (x, y) if self.chart.horizontal else (y, x)
        bound = series.censored or (False,) * len(along)
        low = series.low or (None,) * len(along)
        high = series.high or (None,) * len(along)
        lines = self.axes.hlines if self.chart.horizontal else self.axes.vlines
        for value, place, least, most, is_bound in zip(along, places, low, high, bound, strict=True):
            if value != value:
                continue
            if is_bound:
                end = axis_range(self.chart, "x" if self.chart.horizontal else "y")[1]
                lines(place, value, end, color=colour, linewidth=1, linestyle=(0, (1.5, 2)), zorder=2)
                self._open_mark(*(([value], [place]) if self.chart.horizontal else ([place], [value])), colour)
                continue
            if least is not None and most is not None:
                lines(place, least, most, color=colour, alpha=0.45, linewidth=4, zorder=2)
            mark = "|" if self.chart.horizontal else "_"
            at = (value, place) if self.chart.horizontal else (place, value)
            self.axes.plot(*at, mark, color=colour, markersize=10, markeredgewidth=2, zorder=3)

    def _open_mark(self, x: Any, y: Any, colour: str) -> None:
        self.axes.plot(
            x, y, ">", markerfacecolor="none", markeredgecolor=colour, markersize=8, markeredgewidth=1.6, clip_on=False,
            zorder=4,
        )  # fmt: skip
