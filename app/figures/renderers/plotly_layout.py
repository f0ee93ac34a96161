"""Axes, margins, reference lines and annotations of a Plotly figure."""

import math
from html import escape
from typing import Any

from app.figures.axis_range import axis_range
from app.figures.chart import Axis, Chart, ReferenceLine
from app.figures.palette import colour_of
from app.figures.renderers.end_labels import EndLabel, end_labels
from app.figures.renderers.level_label import label_place

INK = "#1c1f26"  # the page replaces it by its own ink, light or dark
_LEADER = 0.018  # of the width of the plot, from the end of a curve to its label


def plotly_layout(chart: Chart) -> dict[str, Any]:
    """Layout of a chart; grid and lines get the page's colours when drawn."""
    labels, ends = end_labels(chart), axis_range(chart, "x")
    longest = max((len(label.series.end_label) for label in labels), default=0)
    layout: dict[str, Any] = {
        "template": None,
        "paper_bgcolor": "rgba(0,0,0,0)",
        "plot_bgcolor": "rgba(0,0,0,0)",
        "font": {"size": 14, "color": INK},
        "margin": {"l": 70, "r": min(30 + 8 * longest, 260) if longest else 24, "t": 30, "b": 60},
        "hovermode": "closest",
        "barmode": "stack",
        "bargap": 0.3,
        "showlegend": any(series.in_legend or series.kind == "bar" for series in chart.series),
        "legend": {"orientation": "h", "x": 0, "y": 1.02, "yanchor": "bottom", "traceorder": "normal"},
        "xaxis": _axis(chart.x_axis, ends, names_downwards=False),
        "yaxis": _axis(chart.y_axis, axis_range(chart, "y"), names_downwards=chart.horizontal),
        "shapes": [],
        "annotations": [],
    }
    if chart.horizontal:
        layout["yaxis"]["ticklabelposition"] = "outside"
        layout["yaxis"]["automargin"] = True
    for region in chart.regions:
        layout["shapes"].append(_region_shape(region.low, region.high))
        layout["annotations"].append(
            _words(region.label, x=(region.low + region.high) / 2, y=1, yref="paper", xanchor="center", yanchor="top")
        )
    for line in chart.reference_lines:
        layout["shapes"].append(_line_shape(line.axis, line.at))
        layout["annotations"].append(_line_text(line, chart))
    layout["annotations"] += [_end_text(label, chart, ends) for label in labels]
    layout["annotations"] += [
        _words(note.words, x=note.x, y=_on(chart.y_axis, note.y), xanchor="left", yanchor="bottom")
        for note in chart.annotations
    ]
    return layout


def _axis(axis: Axis, ends: tuple[float, float], *, names_downwards: bool) -> dict[str, Any]:
    made: dict[str, Any] = {
        "title": {"text": escape(axis.words), "standoff": 12},
        "zeroline": False,
        "showline": True,
        "linewidth": 1,
        "ticks": "outside",
        "ticklen": 5,
        "gridcolor": "#d6d2c4",
        "linecolor": "#8a877c",
        "tickcolor": "#8a877c",
    }
    if axis.names:
        made |= {"type": "category", "categoryorder": "array", "categoryarray": [escape(name) for name in axis.names]}
        made |= {"showgrid": False, "autorange": "reversed" if names_downwards else True}
        made["tickmode"] = "linear"
        return made
    low, high = ends
    if axis.scale == "log":
        made |= {"type": "log", "dtick": 1 if high > 8 * low else "D1", "exponentformat": "none"}
        return made | {"range": [math.log10(low), math.log10(high)]}
    return made | {"type": "linear", "range": [low, high]}


def _on(axis: Axis, value: Any) -> Any:
    """Position of an annotation: Plotly expects the logarithm on a logarithmic axis."""
    return math.log10(max(value, 1e-12)) if axis.scale == "log" and not isinstance(value, str) else value


def _words(text: str, **place: Any) -> dict[str, Any]:
    return {"text": escape(text), "showarrow": False, "font": {"size": 13}} | place


def _end_text(label: EndLabel, chart: Chart, x_range: tuple[float, float]) -> dict[str, Any]:
    """Label at the end of a curve, joined to it by a thin line in its colour."""
    low, high = x_range
    ends = [_on(chart.x_axis, end) for end in (low, high)]
    x = _on(chart.x_axis, min(max(label.x, low), high))  # against rounding
    return {
        "text": escape(label.series.end_label),
        "name": "end label",
        "font": {"size": 14},
        "x": x,
        "y": _on(chart.y_axis, label.y),
        "axref": "x",
        "ayref": "y",
        "ax": x + _LEADER * (ends[1] - ends[0]),
        "ay": _on(chart.y_axis, label.label_y),
        "xanchor": "left",
        "yanchor": "middle",
        "showarrow": True,
        "arrowhead": 0,
        "arrowwidth": 1,
        "arrowcolor": colour_of(label.series.colour, chart.house.ink or INK, chart.house.accent),
        "startstandoff": 2,
        "standoff": 8 if label.censored else 0,
    }


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
    return {"type": "line", "line": {"color": "#8a877c", "width": 1.2, "dash": "dot"}, "name": "reference"} | place


def _line_text(line: ReferenceLine, chart: Chart) -> dict[str, Any]:
    if line.axis == "y":
        at = _on(chart.y_axis, line.at)
        place = round(label_place(chart, line), 3)
        words = _words(line.label, xref="paper", x=place, y=at, xanchor="left", yanchor="bottom", xshift=4)
        return words | {"name": "level"}
    side = {"xanchor": "right", "xshift": -4} if line.before else {"xanchor": "left", "xshift": 4}
    return _words(line.label, yref="paper", y=1, x=_on(chart.x_axis, line.at), yanchor="top", **side)
