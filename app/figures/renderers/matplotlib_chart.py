"""A chart as SVG or PNG bytes, drawn on the server. The same chart gives the same bytes.

The file does not depend on date, machine or dictionary order: no date, a fixed salt for SVG
ids, and text as outlines of the font bundled with the library.
"""

import gc
from concurrent.futures import ThreadPoolExecutor
from io import BytesIO
from textwrap import wrap
from typing import TYPE_CHECKING, Any, Literal

from app.figures.axis_range import axis_range
from app.figures.chart import Axis, Chart
from app.figures.date_axis import date_ticks
from app.figures.palette import REFERENCE_STYLE, colour_of, line_style_of
from app.figures.renderers.end_labels import end_labels
from app.figures.renderers.level_label import label_place
from app.figures.renderers.matplotlib_series import SeriesDrawing, places_on
from app.figures.renderers.narrow_drawing import (
    KEY_LINE_PX,
    axis_name,
    height_px,
    is_narrow,
    keyed_series,
    legend_columns,
    name_margin_px,
)

if TYPE_CHECKING:
    from matplotlib.typing import RcKeyType

INK, FADED, HAIRLINE, PAPER = "#1c1f26", "#565a63", "#d6d2c4", "#ffffff"
WIDTH_PX = 960
SMALLEST_PX, LARGEST_PX = 320, 4000
_DPI = 96
_POINTS_PER_PX = 72 / 96
_LINE_PX = 19
# One thread draws everything: the library opens its fonts again for each drawing thread, and its settings (rc_context)
# are global to the process. The thread starts with the first drawing.
_DRAWING = ThreadPoolExecutor(1, "drawing")


def svg_bytes(chart: Chart, width_px: int = WIDTH_PX) -> bytes:
    """The chart as SVG, with its alt text as description."""
    return _DRAWING.submit(_drawn_and_cleared, chart, width_px, "svg", 1.0).result()


def png_bytes(chart: Chart, width_px: int = WIDTH_PX, scale: float = 1.0) -> bytes:
    """The chart as PNG, `width_px` times `scale` pixels wide."""
    return _DRAWING.submit(_drawn_and_cleared, chart, width_px, "png", scale).result()


def _drawn_and_cleared(chart: Chart, width_px: int, file_format: str, scale: float) -> bytes:
    """Draws the chart, then frees it. A drawing contains reference cycles, so that only the garbage collector frees it
    and its pixels; it runs now, while they are in the youngest generation.
    """
    try:
        return _drawn(chart, width_px, file_format, scale)
    finally:
        gc.collect(1)


def _drawn(chart: Chart, width_px: int, file_format: str, scale: float) -> bytes:
    import matplotlib  # loaded when used
    from matplotlib.figure import Figure  # loaded when used

    rules: dict[RcKeyType, object] = {
        "svg.hashsalt": "hazefall",
        "svg.fonttype": "path",
        "text.parse_math": False,  # a dollar sign in a name is literal
        "font.family": [chart.house.font, "DejaVu Sans"] if chart.house.font else ["DejaVu Sans"],
        "font.size": 13 * _POINTS_PER_PX,
        "path.simplify": True,
    }
    with matplotlib.rc_context(rules):
        figure = Figure(figsize=(width_px / _DPI, height_px(chart, width_px) / _DPI), dpi=_DPI, facecolor=PAPER)
        _Drawing(chart, figure, width_px).draw()
        out = BytesIO()
        if file_format == "svg":
            metadata = {"Title": chart.title, "Description": chart.alt_text, "Date": None, "Creator": "Hazefall"}
            figure.savefig(out, format="svg", metadata=metadata)
        else:
            figure.savefig(
                out, format="png", dpi=_DPI * scale, metadata={"Software": None, "Description": chart.alt_text}
            )
    return out.getvalue()


class _Drawing:
    """One chart on one figure; one class because every part needs the same axes and sizes."""

    def __init__(self, chart: Chart, figure: Any, width_px: int) -> None:
        self.chart = chart
        self.figure = figure
        self.width_px = width_px
        self.height_px = height_px(chart, width_px)
        self.ink = chart.house.ink or INK
        self.wrap = max(30, int(width_px / 7.4))
        self.key = keyed_series(chart, width_px)
        self.legend_columns = legend_columns(chart, width_px)

    def draw(self) -> None:
        heading = self._heading()
        foot = self._foot()
        names = self.chart.y_axis.names if self.chart.horizontal else ()
        left = name_margin_px(names, self.width_px) if names else 74
        right = self._label_margin()
        bottom = foot + 58 + KEY_LINE_PX * len(self.key)
        top = heading + 14 + 20 * -(-self._legend_entries() // self.legend_columns)
        axes = self.figure.add_axes(
            (
                left / self.width_px,
                bottom / self.height_px,
                (self.width_px - left - right) / self.width_px,
                (self.height_px - top - bottom) / self.height_px,
            )
        )
        self.axes = axes
        self._frame()
        drawing = SeriesDrawing(self.chart, axes, self.ink, self.width_px)
        for series in self.chart.series:
            drawing.draw(series)
        self._references()
        if self.key:
            self._key(foot)
        else:
            self._labels()
        if self._legend_entries():
            axes.legend(
                loc="lower left",
                bbox_to_anchor=(0, 1.0) if self.legend_columns == 4 else (-left / (self.width_px - left - right), 1.0),
                ncols=self.legend_columns,
                frameon=False,
                borderaxespad=0.2,
                labelcolor=self.ink,
            )

    def _heading(self) -> float:
        """Title and subtitle from the top; returns the used height [px]."""
        y = 16.0
        if self.chart.house.accent:
            self._accent_line()
        if self.chart.house.publication:
            x, top = self._corner()
            self._text(x, top, self.chart.house.publication, size=13, color=self.ink, ha="right", weight="bold")
            y += 22.0 if is_narrow(self.width_px) else 0.0
        for line in wrap(self.chart.title, int((self.width_px - 24) / 11.5)):
            self._text(12, y, line, size=18, weight="bold", color=self.ink)
            y += 25
        for line in wrap(self.chart.subtitle, self.wrap):
            self._text(12, y, line, size=13, color=FADED)
            y += _LINE_PX
        return y + 6

    def _corner(self) -> tuple[float, float]:
        """Where the publication's name ends [px]: beside the title, or above it if there is no room."""
        return self.width_px - 12, 12.0 if is_narrow(self.width_px) else 16.0

    def _accent_line(self) -> None:
        """The publication's second colour as a short line above the title."""
        from matplotlib.lines import Line2D  # loaded when used

        at = 1 - 6 / self.height_px
        ends = (12 / self.width_px, 60 / self.width_px)
        line = Line2D(ends, (at, at), color=self.chart.house.accent, linewidth=3, transform=self.figure.transFigure)
        self.figure.add_artist(line)

    def _foot(self) -> float:
        """Source line and notes at the bottom; returns the height taken [px]."""
        lines = wrap(self.chart.foot, int(self.wrap * 1.05))
        for place, line in enumerate(reversed(lines)):
            self._text(12, self.height_px - 24 - 17 * place, line, size=12, color=FADED)
        return 12 + 17 * len(lines)

    def _text(
        self, x: float, y: float, words: str, *, size: float, color: str, ha: str = "left", weight: str = "normal"
    ) -> None:
        self.figure.text(
            x / self.width_px,
            1 - y / self.height_px,
            words,
            fontsize=size * _POINTS_PER_PX,
            color=color,
            ha=ha,
            va="top",
            fontweight=weight,
        )

    def _label_margin(self) -> float:
        longest = 0 if self.key else max((len(series.end_label) for series in self.chart.series), default=0)
        return min(26 + 7.6 * longest, 0.34 * self.width_px) if longest else 24

    def _legend_entries(self) -> int:
        return sum(series.in_legend or series.kind == "bar" for series in self.chart.series)

    def _key(self, foot: float) -> None:
        """A legend below the axes: each curve's line with its name."""
        from matplotlib.lines import Line2D  # loaded when used

        lines: list[Any] = []
        for series in self.key:
            colour = colour_of(series.colour, self.ink, self.chart.house.accent)
            style = REFERENCE_STYLE if series.colour is None else line_style_of(series.dash)
            drawn: dict[str, Any] = {"linestyle": style.matplotlib, "linewidth": 1.7}
            name = _shortened(series.end_label)
            if series.kind == "points":  # points look alike, so a number identifies them
                drawn, name = {"linestyle": "", "marker": "o"}, f"{len(lines) + 1}  {name}"
                self.axes.annotate(
                    str(len(lines) + 1), (series.x[0], series.y[0]), xytext=(-4, 0), textcoords="offset points",
                    ha="right", va="center", color=self.ink, fontsize=13 * _POINTS_PER_PX,
                )  # fmt: skip
            lines.append(Line2D([], [], color=colour, label=name, **drawn))
        self.figure.legend(
            handles=lines, loc="lower left", bbox_to_anchor=(0, (foot + 4) / self.height_px), frameon=False,
            labelcolor=self.ink, labelspacing=0.25, handlelength=3, borderaxespad=0.6,
        )  # fmt: skip

    def _frame(self) -> None:
        axes, chart = self.axes, self.chart
        for side in ("top", "right"):
            axes.spines[side].set_visible(False)
        for side in ("left", "bottom"):
            axes.spines[side].set_color("#8a877c")
        axes.tick_params(colors=self.ink, labelsize=13 * _POINTS_PER_PX, length=4, color="#8a877c")
        axes.set_axisbelow(True)
        self._axis(axes.xaxis, chart.x_axis, "x")
        self._axis(axes.yaxis, chart.y_axis, "y")

    def _axis(self, drawn: Any, axis: Axis, which: Literal["x", "y"]) -> None:
        axes = self.axes
        setter = getattr(axes, f"set_{which}label")
        setter(axis.words, color=self.ink, fontsize=13 * _POINTS_PER_PX, labelpad=8)
        if axis.names:
            names = [axis_name(name, self.width_px) for name in axis.names]
            getattr(axes, f"set_{which}ticks")(range(len(names)), names)
            low, high = -0.6, len(axis.names) - 0.4
            getattr(axes, f"set_{which}lim")((high, low) if which == "y" else (low, high))
            return
        drawn.grid(True, color=HAIRLINE, linewidth=0.7)
        if axis.scale == "log":
            from matplotlib.ticker import FuncFormatter, NullFormatter  # loaded when used

            getattr(axes, f"set_{which}scale")("log")
            drawn.set_major_formatter(FuncFormatter(lambda value, _: f"{value:g}"))
            drawn.set_minor_formatter(NullFormatter())
        elif axis.scale == "days":
            low, high = axis_range(self.chart, which)
            places, words = zip(*date_ticks(low, high, max(2, self.width_px // 150)), strict=True)
            getattr(axes, f"set_{which}ticks")(places, words)
        else:
            axes.ticklabel_format(axis=which, style="plain", useOffset=False)  # 12000.5, never 0.5 + 12000
        getattr(axes, f"set_{which}lim")(*axis_range(self.chart, which))

    def _references(self) -> None:
        small = 12 * _POINTS_PER_PX
        for region in self.chart.regions:
            self.axes.axvspan(region.low, region.high, color="#777777", alpha=0.10, linewidth=0, zorder=0)
            self.axes.text(
                (region.low + region.high) / 2, 0.985, region.label, transform=self.axes.get_xaxis_transform(),
                fontsize=small, color=FADED, va="top", ha="center",
            )  # fmt: skip
        for line in self.chart.reference_lines:
            if line.axis == "y":
                self.axes.axhline(line.at, color="#8a877c", linewidth=1, linestyle=(0, (1.5, 2)), zorder=1)
                self.axes.text(
                    0.008 + label_place(self.chart, line), line.at, line.label, ha="left", va="bottom", fontsize=small,
                    transform=self.axes.get_yaxis_transform(), color=FADED, zorder=4,
                    bbox={"facecolor": PAPER, "alpha": 0.75, "linewidth": 0, "pad": 1},
                )  # fmt: skip
            else:
                self.axes.axvline(line.at, color="#8a877c", linewidth=1, linestyle=(0, (1.5, 2)), zorder=1)
                low, high = axis_range(self.chart, "x")
                before = line.before or (is_narrow(self.width_px) and line.at > low + 0.6 * (high - low))
                self.axes.text(
                    line.at, 0.985, f" {line.label} ", transform=self.axes.get_xaxis_transform(), va="top",
                    ha="right" if before else "left", fontsize=small, color=FADED,
                )  # fmt: skip
        for note in self.chart.annotations:
            x, y = places_on(self.chart.x_axis, (note.x,))[0], places_on(self.chart.y_axis, (note.y,))[0]
            self.axes.text(x, y, f" {note.words}", fontsize=small, color=self.ink, va="center")

    def _labels(self) -> None:
        """Labels at the ends of the curves, each joined to its curve by a thin line in its colour."""
        low, high = axis_range(self.chart, "x")
        for label in end_labels(self.chart):
            at = label.x + 0.018 * (high - low)
            start = label.x + (0.010 * (high - low) if label.censored else 0.0)
            colour = colour_of(label.series.colour, self.ink, self.chart.house.accent)
            self.axes.plot([start, at], [label.y, label.label_y], color=colour, linewidth=0.8, clip_on=False, zorder=2)
            self.axes.annotate(
                _shortened(label.series.end_label), (at, label.label_y), xytext=(3, 0),
                textcoords="offset points", va="center", fontsize=13 * _POINTS_PER_PX, color=self.ink,
                annotation_clip=False, bbox={"facecolor": PAPER, "alpha": 0.75, "linewidth": 0, "pad": 1}, zorder=5,
            )  # fmt: skip


def _shortened(name: str) -> str:
    return name if len(name) <= 44 else name[:43] + "…"
