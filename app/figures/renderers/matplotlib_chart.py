"""A chart as PNG bytes, drawn on the server. The same chart gives the same bytes.

The file does not depend on date, machine or dictionary order: no date, places from the layout step, and the font
bundled with the library.
"""

import gc
from concurrent.futures import ThreadPoolExecutor
from io import BytesIO
from typing import TYPE_CHECKING, Any, Literal

from app.figures.axis_range import axis_range
from app.figures.chart import Axis, Chart
from app.figures.layout.boxes import Box, KeySample, Leader, PlacedText
from app.figures.layout.chart_layout import WIDTH_PX, ChartLayout, chart_layout
from app.figures.layout.positions import point_radius
from app.figures.palette import FADED, HAIRLINE, INK, PAPER, REFERENCE_STYLE, REGION, RULE, colour_of, line_style_of
from app.figures.renderers.matplotlib_series import SeriesDrawing
from app.figures.renderers.svg_colours import Look, dark_partners

if TYPE_CHECKING:
    from matplotlib.typing import RcKeyType

_DPI = 96
_POINTS_PER_PX = 72 / 96
_DOTTED = (0, (1.5, 2))
# One thread draws everything: the library opens its fonts again for each drawing thread, and its settings (rc_context)
# are global to the process. The thread starts with the first drawing.
_DRAWING = ThreadPoolExecutor(1, "drawing")


def png_bytes(
    chart: Chart, width_px: int = WIDTH_PX, scale: float = 1.0, look: Look = "light", *, with_data: bool = True
) -> bytes:
    """The chart as PNG, `width_px` times `scale` pixels wide. A look of "page" is light.

    with_data : False leaves the plot empty, with everything around it at its place
    """
    return _DRAWING.submit(_drawn_and_cleared, chart, width_px, scale, look, with_data).result()


def _drawn_and_cleared(chart: Chart, width_px: int, scale: float, look: Look, with_data: bool) -> bytes:
    """Draws the chart, then frees it. A drawing contains reference cycles, so that only the garbage collector frees it
    and its pixels; it runs now, while they are in the youngest generation.
    """
    try:
        return _drawn(chart, width_px, scale, look, with_data)
    finally:
        gc.collect(1)


def _drawn(chart: Chart, width_px: int, scale: float, look: Look, with_data: bool) -> bytes:
    import matplotlib  # loaded when used
    from matplotlib.figure import Figure  # loaded when used

    rules: dict[RcKeyType, object] = {
        "text.parse_math": False,  # a dollar sign in a name is literal
        "font.family": [chart.house.font, "DejaVu Sans"] if chart.house.font else ["DejaVu Sans"],
        "font.size": 13 * _POINTS_PER_PX,
        "path.simplify": True,
    }
    layout = chart_layout(chart, width_px)
    with matplotlib.rc_context(rules):
        figure = Figure(figsize=(width_px / _DPI, round(layout.height) / _DPI), dpi=_DPI, facecolor=PAPER)
        _Drawing(chart, figure, layout).draw(with_data=with_data)
        if look == "dark":
            _recolour(figure, dark_partners(chart.house))
        if look == "transparent":
            figure.patch.set_alpha(0)
            figure.axes[0].patch.set_alpha(0)
        out = BytesIO()
        figure.savefig(out, format="png", dpi=_DPI * scale, metadata={"Software": None, "Description": chart.alt_text})
    return out.getvalue()


def _recolour(figure: Any, partners: dict[str, str]) -> None:
    """Gives everything drawn the dark partner of its colour; transparency stays."""
    from matplotlib.colors import to_hex, to_rgba  # loaded when used

    known = {to_hex(light): dark for light, dark in partners.items()}
    for artist in figure.findobj():
        for what in ("color", "facecolor", "edgecolor", "markerfacecolor", "markeredgecolor"):
            if not hasattr(artist, f"get_{what}") or not hasattr(artist, f"set_{what}"):
                continue
            colour, put = getattr(artist, f"get_{what}")(), getattr(artist, f"set_{what}")
            if colour is None or (isinstance(colour, str) and colour == "none"):
                continue
            each = colour if getattr(colour, "ndim", 1) == 2 else [colour]
            new = [to_rgba(known.get(to_hex(one), to_hex(one)), to_rgba(one)[3]) for one in each]
            if new:
                put(new if getattr(colour, "ndim", 1) == 2 else new[0])


class _Drawing:
    """One chart on one figure, as its layout says; one class because every part needs the same axes and sizes."""

    def __init__(self, chart: Chart, figure: Any, layout: ChartLayout) -> None:
        self.chart = chart
        self.figure = figure
        self.layout = layout
        self.width, self.height = layout.width, round(layout.height)
        self.ink = chart.house.ink or INK

    def draw(self, *, with_data: bool) -> None:
        if self.chart.house.accent:
            self._line(12, 6, 60, 6, color=self.chart.house.accent, linewidth=3)
        plot = self.layout.plot
        self.axes = self.figure.add_axes(
            (
                plot.x0 / self.width,
                1 - plot.y1 / self.height,
                plot.width / self.width,
                plot.height / self.height,
            )
        )
        self._frame()
        drawing = SeriesDrawing(self.chart, self.axes, self.ink)
        for series in self.chart.series if with_data else ():
            drawing.draw(series)
        self._references()
        for leader in self.layout.leaders:
            self._leader(leader)
        for sample in self.layout.samples:
            self._sample(sample)
        for text in self.layout.texts:
            self._text(text)

    def _text(self, text: PlacedText) -> None:
        x, y = text.anchor
        look: dict[str, Any] = {
            "fontsize": text.size * _POINTS_PER_PX,
            "fontweight": "bold" if text.bold else "normal",
            "color": FADED if text.faded else self.ink,
            "ha": text.align,
            "va": "center",
            "linespacing": 1.05,
        }
        self.figure.text(x / self.width, 1 - y / self.height, "\n".join(text.lines), **look)

    def _line(self, x0: float, y0: float, x1: float, y1: float, **look: Any) -> None:
        """A line anywhere on the figure, from and to a pixel."""
        from matplotlib.lines import Line2D  # loaded when used

        xs, ys = (x0 / self.width, x1 / self.width), (1 - y0 / self.height, 1 - y1 / self.height)
        self.figure.add_artist(Line2D(xs, ys, transform=self.figure.transFigure, **look))

    def _leader(self, leader: Leader) -> None:
        look: dict[str, Any] = {"color": RULE, "linewidth": 1, "linestyle": _DOTTED}
        if leader.series is not None:
            look = {"color": colour_of(leader.series.colour, self.ink, self.chart.house.accent), "linewidth": 0.8}
        self._line(leader.x0, leader.y0, leader.x1, leader.y1, **look)

    def _sample(self, sample: KeySample) -> None:
        """What a series looks like, before its name in the key."""
        box, series = sample.box, sample.series
        middle = (box.y0 + box.y1) / 2
        if series is None:
            self._line(box.x0, middle, box.x1, middle, color=RULE, linewidth=1, linestyle=_DOTTED)
            return
        colour = colour_of(series.colour, self.ink, self.chart.house.accent)
        if series.kind == "interval":
            self._interval_sample(box, colour, open_ended=all(series.censored) and bool(series.censored))
        elif series.kind == "points":
            size = 2 * point_radius(series) * _POINTS_PER_PX
            x = (box.x0 + box.x1) / 2
            alpha = 0.35 if series.faint else 1.0
            look = {"marker": "o", "markersize": size, "markeredgewidth": 0, "alpha": alpha}
            self._line(x, middle, x, middle, color=colour, **look)
        elif series.kind == "bar":
            self._line(box.x0 + 4, middle, box.x1 - 4, middle, color=colour, linewidth=8, solid_capstyle="butt")
        else:
            style = REFERENCE_STYLE if series.colour is None else line_style_of(series.dash)
            self._line(box.x0, middle, box.x1, middle, color=colour, linewidth=1.7, linestyle=style.matplotlib)

    def _interval_sample(self, box: Box, colour: str, *, open_ended: bool) -> None:
        x, y = (box.x0 + box.x1) / 2, (box.y0 + box.y1) / 2
        if open_ended:
            look: dict[str, Any] = {"marker": ">", "markersize": 8, "markeredgewidth": 1.6, "markerfacecolor": "none"}
            self._line(x, y, x, y, color=colour, **look)
            return
        self._line(x - 9, y, x + 9, y, color=colour, linewidth=4, alpha=0.45, solid_capstyle="butt")
        self._line(x, y - 6, x, y + 6, color=colour, linewidth=2, solid_capstyle="butt")

    def _frame(self) -> None:
        axes = self.axes
        for side in ("top", "right"):
            axes.spines[side].set_visible(False)
        for side in ("left", "bottom"):
            axes.spines[side].set_color(RULE)
        axes.set_axisbelow(True)
        self._axis(axes.xaxis, self.chart.x_axis, "x")
        self._axis(axes.yaxis, self.chart.y_axis, "y")
        axes.tick_params(which="both", labelbottom=False, labelleft=False, length=4, color=RULE)
        axes.minorticks_off()

    def _axis(self, drawn: Any, axis: Axis, which: Literal["x", "y"]) -> None:
        axes = self.axes
        if axis.names:
            getattr(axes, f"set_{which}ticks")(range(len(axis.names)))
            low, high = -0.5, len(axis.names) - 0.5
            getattr(axes, f"set_{which}lim")((high, low) if which == "y" else (low, high))
            return
        if axis.scale == "log":
            getattr(axes, f"set_{which}scale")("log")
        drawn.grid(True, color=HAIRLINE, linewidth=0.7)
        places = self.layout.x_ticks if which == "x" else self.layout.y_ticks
        getattr(axes, f"set_{which}ticks")([value for value, _ in places])
        getattr(axes, f"set_{which}lim")(*axis_range(self.chart, which))

    def _references(self) -> None:
        for region in self.chart.regions:
            self.axes.axvspan(region.low, region.high, color=REGION, alpha=0.10, linewidth=0, zorder=0)
        for line in self.chart.reference_lines:
            draw = self.axes.axhline if line.axis == "y" else self.axes.axvline
            draw(line.at, color=RULE, linewidth=1, linestyle=_DOTTED, zorder=1)
