"""Axes, margins, reference lines and texts of a Plotly figure, as the layout step places them."""

import math
from html import escape
from itertools import pairwise
from typing import Any

from app.figures.axis_range import axis_range
from app.figures.chart import Axis, Chart
from app.figures.layout.boxes import LABEL_PX, KeySample, Leader, PlacedText
from app.figures.layout.chart_layout import ChartLayout
from app.figures.layout.positions import point_radius
from app.figures.layout.ticks import Tick
from app.figures.palette import INK, REFERENCE_STYLE, RULE, colour_of, line_style_of

_MOVES = ("end", "number", "level", "mark")  # texts that stay beside their data on zoom


def plotly_layout(chart: Chart, placed: ChartLayout) -> dict[str, Any]:
    """Layout of a chart; grid and lines get the page's colours when drawn."""
    plot = placed.plot
    canvas = _Canvas(chart, placed)
    layout: dict[str, Any] = {
        "template": None,
        "width": round(placed.width),
        "height": round(placed.height),
        "paper_bgcolor": "rgba(0,0,0,0)",
        "plot_bgcolor": "rgba(0,0,0,0)",
        "font": {"size": LABEL_PX, "color": INK},
        "margin": {
            "l": plot.x0,
            "r": placed.width - plot.x1,
            "t": plot.y0,
            "b": round(placed.height) - plot.y1,
            "pad": 0,
        },
        "hovermode": "closest",
        "barmode": "stack",
        "bargap": 0.38,
        "showlegend": False,
        "xaxis": _axis(chart.x_axis, axis_range(chart, "x"), placed.x_ticks),
        "yaxis": _axis(chart.y_axis, axis_range(chart, "y"), placed.y_ticks),
        "shapes": [],
        "annotations": [],
    }
    if chart.y_axis.names:
        _name_rows(layout["yaxis"], placed)
    for region in chart.regions:
        layout["shapes"].append(_region_shape(region.low, region.high))
    for line in chart.reference_lines:
        layout["shapes"].append(_line_shape(line.axis, line.at))
    leaders = {id(leader.series): leader for leader in placed.leaders if leader.series is not None}
    for leader in placed.leaders:
        if leader.series is None:
            layout["shapes"].append(canvas.line(leader.x0, leader.y0, leader.x1, leader.y1, "reference"))
    for sample in placed.samples:
        layout["shapes"] += canvas.sample(sample)
    for text in placed.texts:
        if text.kind != "tick":
            layout["annotations"].append(canvas.text(text, leaders.get(id(text.series))))
    return layout


def _axis(axis: Axis, ends: tuple[float, float], ticks: tuple[Tick, ...]) -> dict[str, Any]:
    made: dict[str, Any] = {
        "zeroline": False,
        "showline": True,
        "linewidth": 1,
        "ticks": "outside",
        "ticklen": 5,
        "tickangle": 0,
        "automargin": False,
        "gridcolor": "#d6d2c4",
        "linecolor": RULE,
        "tickcolor": RULE,
        "tickfont": {"size": LABEL_PX},
    }
    if axis.names:
        made |= {"type": "category", "categoryorder": "array", "categoryarray": [escape(name) for name in axis.names]}
        return made | {"showgrid": False, "tickmode": "array"}
    made |= {"tickmode": "array", "tickvals": [value for value, _ in ticks], "ticktext": [label for _, label in ticks]}
    low, high = ends
    if axis.scale == "log":
        return made | {"type": "log", "range": [math.log10(low), math.log10(high)]}
    return made | {"type": "linear", "range": [low, high]}


def _name_rows(axis: dict[str, Any], placed: ChartLayout) -> None:
    """The names of bars downwards, wrapped as the layout says."""
    rows = [text for text in placed.texts if text.kind == "tick" and text.align == "right"]
    axis["range"] = [len(rows) - 0.5, -0.5]
    axis["tickvals"] = list(range(len(rows)))
    axis["ticktext"] = ["<br>".join(escape(line) for line in text.lines) for text in rows]


class _Canvas:
    """Converts pixels of the layout to the figure's coordinates."""

    def __init__(self, chart: Chart, placed: ChartLayout) -> None:
        self.chart, self.placed = chart, placed

    def paper(self, x: float, y: float) -> tuple[float, float]:
        """A pixel as shares of the plot, as Plotly places what is fixed."""
        plot = self.placed.plot
        return (x - plot.x0) / plot.width, 1 - (y - plot.y0) / plot.height

    def colour(self, text: PlacedText) -> str:
        assert text.series is not None
        return colour_of(text.series.colour, self.chart.house.ink or INK, self.chart.house.accent)

    def text(self, text: PlacedText, leader: Leader | None) -> dict[str, Any]:
        x, y = text.anchor
        made: dict[str, Any] = {
            "text": "<br>".join(escape(line) for line in text.lines),
            "name": text.kind,
            "font": {"size": text.size},
            "xanchor": text.align,
            "yanchor": "middle",
            "align": text.align,
            "borderpad": 0,
            "showarrow": False,
        }
        if text.at_data is None or text.kind not in _MOVES:
            at = self.paper(x, y)
            return made | {"xref": "paper", "yref": "paper", "x": at[0], "y": at[1]}
        if text.series is not None and leader is not None:
            return made | self._with_leader(text, leader)
        return made | self._beside(text)

    def _beside(self, text: PlacedText) -> dict[str, Any]:
        """A text so many pixels from its data; a level moves up and down only, a mark sideways only."""
        assert text.at_data is not None
        (x, y), (paper_x, paper_y) = text.anchor, self.paper(*text.anchor)
        made: dict[str, Any] = {}
        if text.kind == "level":
            made |= {"xref": "paper", "x": paper_x}
        else:
            made |= {"x": _on(self.chart.x_axis, text.at_data[0])}
            made["xshift"] = x - self.placed.positions.x(text.at_data[0])
        if text.kind == "mark":
            made |= {"yref": "paper", "y": paper_y}
        else:
            made |= {"y": _on(self.chart.y_axis, text.at_data[1])}
            made["yshift"] = self.placed.positions.y(text.at_data[1]) - y
        return made

    def _with_leader(self, text: PlacedText, leader: Leader) -> dict[str, Any]:
        """A label joined to the end of its curve by a thin line in its colour, `ax` and `ay` pixels away."""
        assert text.at_data is not None
        end = self.placed.positions.x(text.at_data[0]), self.placed.positions.y(text.at_data[1])
        plot = self.placed.plot
        end = min(max(end[0], plot.x0), plot.x1), min(max(end[1], plot.y0), plot.y1)
        away = ((leader.x0 - end[0]) ** 2 + (leader.y0 - end[1]) ** 2) ** 0.5
        x, y = text.anchor
        ends_x, ends_y = axis_range(self.chart, "x"), axis_range(self.chart, "y")
        at_x, at_y = (
            min(max(value, low), high) for value, (low, high) in zip(text.at_data, (ends_x, ends_y), strict=True)
        )
        return {
            "x": _on(self.chart.x_axis, at_x),
            "y": _on(self.chart.y_axis, at_y),
            "ax": x - end[0],
            "ay": y - end[1],
            "showarrow": True,
            "arrowhead": 0,
            "arrowwidth": 1,
            "arrowcolor": self.colour(text),
            "startstandoff": 3,
            "standoff": round(away, 1),
        }

    def line(self, x0: float, y0: float, x1: float, y1: float, name: str, **look: Any) -> dict[str, Any]:
        """A line anywhere on the canvas."""
        start, end = self.paper(x0, y0), self.paper(x1, y1)
        place = {"xref": "paper", "yref": "paper", "x0": start[0], "y0": start[1], "x1": end[0], "y1": end[1]}
        line = {"color": RULE, "width": 1.2, "dash": "dot"} | look
        return {"type": "line", "line": line, "name": name} | place

    def sample(self, sample: KeySample) -> list[dict[str, Any]]:
        """What a series looks like, before its name in the key."""
        box, series = sample.box, sample.series
        middle = (box.y0 + box.y1) / 2
        if series is None:
            return [self.line(box.x0, middle, box.x1, middle, "reference")]
        colour = colour_of(series.colour, self.chart.house.ink or INK, self.chart.house.accent)
        name = "key" if series.colour is not None else "key ink"
        if series.kind == "interval":
            return self._interval_sample(sample, colour, name)
        if series.kind == "points":
            radius, x = point_radius(series), (box.x0 + box.x1) / 2
            low, high = self.paper(x - radius, middle + radius), self.paper(x + radius, middle - radius)
            place = {"xref": "paper", "yref": "paper", "x0": low[0], "y0": low[1], "x1": high[0], "y1": high[1]}
            look = {"fillcolor": colour, "line": {"width": 0, "color": colour}, "opacity": 0.35 if series.faint else 1}
            return [{"type": "circle", "name": name} | look | place]
        if series.kind == "bar":
            return [self.line(box.x0 + 4, middle, box.x1 - 4, middle, name, color=colour, width=10, dash="solid")]
        style = REFERENCE_STYLE if series.colour is None else line_style_of(series.dash)
        return [self.line(box.x0, middle, box.x1, middle, name, color=colour, width=2.2, dash=style.plotly)]

    def _interval_sample(self, sample: KeySample, colour: str, name: str) -> list[dict[str, Any]]:
        box, series = sample.box, sample.series
        x, y = (box.x0 + box.x1) / 2, (box.y0 + box.y1) / 2
        look: dict[str, Any] = {"color": colour, "dash": "solid"}
        if series is not None and series.censored and all(series.censored):
            corners = [(x - 5, y - 6), (x + 6, y), (x - 5, y + 6), (x - 5, y - 6)]
            return [self.line(*start, *end, name, **look, width=2) for start, end in pairwise(corners)]
        return [
            self.line(x - 9, y, x + 9, y, name, **look, width=5) | {"opacity": 0.45},
            self.line(x, y - 6, x, y + 6, name, **look, width=2.5),
        ]


def _on(axis: Axis, value: Any) -> Any:
    """Position of an annotation: Plotly expects the logarithm on a logarithmic axis."""
    return math.log10(max(value, 1e-12)) if axis.scale == "log" and not isinstance(value, str) else value


def _region_shape(low: float, high: float) -> dict[str, Any]:
    return {
        "type": "rect",
        "x0": low,
        "x1": high,
        "yref": "paper",
        "y0": 0,
        "y1": 1,
        "fillcolor": "rgba(120,120,120,0.10)",
        "line": {"width": 0},
        "layer": "below",
    }


def _line_shape(axis: str, at: float) -> dict[str, Any]:
    place: dict[str, Any]
    if axis == "y":
        place = {"xref": "paper", "x0": 0, "x1": 1, "y0": at, "y1": at}
    else:
        place = {"yref": "paper", "y0": 0, "y1": 1, "x0": at, "x1": at}
    return {"type": "line", "line": {"color": RULE, "width": 1.2, "dash": "dot"}, "name": "reference"} | place
