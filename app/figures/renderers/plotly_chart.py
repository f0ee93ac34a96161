"""A chart as JSON for Plotly in the browser: `{"data": [...], "layout": {...}, "meta": {...}}`.

Built without importing Plotly, as lists and dictionaries that a test checks against
the library. Ink and grid have names, not colours ("ink"), so that the page's script can use the light or dark theme.
"""

from collections.abc import Iterable
from datetime import datetime, timedelta
from html import escape
from typing import Any, Literal

from app.figures.axis_range import axis_range
from app.figures.chart import Chart, Series
from app.figures.layout.chart_layout import chart_layout
from app.figures.layout.positions import point_radius
from app.figures.palette import CURVE_COLOURS, INK, REFERENCE_STYLE, colour_of, line_style_of
from app.figures.renderers.plotly_layout import plotly_layout

_FAINT = 0.35
_BAND = 0.16


WIDTH_PX, HEIGHT_PX = 960, 480


def plotly_figure(chart: Chart, width_px: float = WIDTH_PX, height_px: float = HEIGHT_PX) -> dict[str, Any]:
    """The chart as JSON for an area of this size; a key that does not fit makes it higher.

    Every text is escaped, because Plotly interprets some tags in labels.
    """
    traces: list[dict[str, Any]] = []
    ink_traces: list[int] = []
    for series in chart.series:
        made = _TRACES[series.kind](series, chart)
        if series.colour is None:
            ink_traces.extend(range(len(traces), len(traces) + len(made)))
        traces.extend(made)
    layout = plotly_layout(chart, chart_layout(chart, width_px, height_px))
    if chart.x_axis.scale == "days":
        with_days(traces, layout)
    return {
        "data": traces,
        "layout": layout,
        "meta": {
            "name": chart.name,
            "title": chart.title,
            "alt_text": chart.alt_text,
            "palette": list(CURVE_COLOURS),  # the page lightens them in dark mode
            "ink": chart.house.ink or INK,
            "ink_traces": ink_traces,
        },
    }


def _positions(values: Iterable[Any]) -> list[Any]:
    """Values of an axis; category names are escaped like every text."""
    return [escape(value) if isinstance(value, str) else value for value in values]


def _colour(series: Series, chart: Chart) -> str:
    return colour_of(series.colour, chart.house.ink or INK, chart.house.accent)


def _base(series: Series, chart: Chart, **more: Any) -> dict[str, Any]:
    trace: dict[str, Any] = {
        "type": "scatter",
        "name": escape(series.name),
        "x": _positions(series.x),
        "y": _positions(series.y),
    }
    if series.hover:
        trace["text"] = [escape(text) for text in series.hover]
        trace["hovertemplate"] = "%{text}<extra></extra>"
    else:
        x_unit, y_unit = escape(chart.x_axis.unit_symbol), escape(chart.y_axis.unit_symbol)
        trace["hovertemplate"] = f"{escape(series.name)}: %{{y:.3~g}} {y_unit} at %{{x:.3~g}} {x_unit}<extra></extra>"
    return trace | more


def _line(series: Series, chart: Chart) -> list[dict[str, Any]]:
    style = REFERENCE_STYLE if series.colour is None else line_style_of(series.dash)
    line = {"color": _colour(series, chart), "width": 2.2, "dash": style.plotly}
    traces = [_base(series, chart, mode="lines", line=line)]
    if series.censored and series.censored[-1]:
        low, high = axis_range(chart, "x")
        # rounding could put it just outside the axis, where it is not drawn
        traces.append(_open_end(series, chart, min(max(series.x[-1], low), high), series.y[-1]))
    return traces


def _step(series: Series, chart: Chart) -> list[dict[str, Any]]:
    traces = _line(series, chart)
    traces[0]["line"]["shape"] = "hv"
    return traces


def _open_end(series: Series, chart: Chart, x: Any, y: Any) -> dict[str, Any]:
    """Open mark of a bound: the value lies beyond it."""
    return {
        "type": "scatter",
        "mode": "markers",
        "name": escape(series.name),
        "x": [x],
        "y": [y],
        "marker": {
            "symbol": "triangle-right-open",
            "size": 12,
            "color": _colour(series, chart),
            "line": {"width": 2, "color": _colour(series, chart)},
        },
        "hoverinfo": "skip",
        "cliponaxis": False,
    }


def _points(series: Series, chart: Chart) -> list[dict[str, Any]]:
    marker = {
        "color": _colour(series, chart),
        "size": 2 * point_radius(series),
        "opacity": _FAINT if series.faint else 1,
    }
    trace = _base(series, chart, mode="markers", marker=marker)
    if series.faint:
        trace["hoverinfo"] = "skip"
        del trace["hovertemplate"]
    return [trace]


def _band(series: Series, chart: Chart) -> list[dict[str, Any]]:
    pairs = [
        (x, least, most)
        for x, least, most in zip(series.x, series.low, series.high, strict=True)
        if None not in (least, most)
    ]
    return [
        {
            "type": "scatter",
            "mode": "lines",
            "name": escape(series.name),
            "x": [x for x, _, _ in pairs] + [x for x, _, _ in reversed(pairs)],
            "y": [most for _, _, most in pairs] + [least for _, least, _ in reversed(pairs)],
            "fill": "toself",
            "fillcolor": _translucent(_colour(series, chart)),
            "line": {"width": 0},
            "hoverinfo": "skip",
        }
    ]


def _bar(series: Series, chart: Chart) -> list[dict[str, Any]]:
    trace = _base(series, chart)
    trace |= {
        "type": "bar",
        "marker": {"color": _colour(series, chart), "line": {"width": 0}},
        "orientation": "h" if chart.horizontal else "v",
        "textposition": "none",  # the texts are for hovering
    }
    if chart.horizontal and not series.hover:
        unit = escape(chart.x_axis.unit_symbol)
        trace["hovertemplate"] = f"%{{y}}, {escape(series.name)}: %{{x:.3~g}} {unit}<extra></extra>"
    return [trace]


def _interval(series: Series, chart: Chart) -> list[dict[str, Any]]:
    """Values with their intervals, then the bounds, each as an arrow to the end of the axis."""
    along, names = (series.x, series.y) if chart.horizontal else (series.y, series.x)
    bound = series.censored or (False,) * len(along)
    reached = [i for i, value in enumerate(along) if value is not None and not bound[i]]
    open_ended = [i for i, value in enumerate(along) if value is not None and bound[i]]
    value_axis: Literal["x", "y"] = "x" if chart.horizontal else "y"
    name_axis = "y" if chart.horizontal else "x"
    colour = _colour(series, chart)
    trace = _base(series, chart, mode="markers")
    trace[value_axis] = [along[i] for i in reached]
    trace[name_axis] = _positions(names[i] for i in reached)
    if series.hover:
        trace["text"] = [escape(series.hover[i]) for i in reached]
    trace["marker"] = {"color": colour, "size": 8, "symbol": "line-ns" if chart.horizontal else "line-ew"}
    trace["marker"]["line"] = {"width": 2.5, "color": colour}
    if series.low and series.high:
        trace[f"error_{value_axis}"] = {
            "type": "data",
            "symmetric": False,
            "array": [_distance(series.high[i], along[i]) for i in reached],
            "arrayminus": [_distance(along[i], series.low[i]) for i in reached],
            "thickness": 5,
            "width": 0,
            "color": _translucent(colour, 0.45),
        }
    traces = [trace]
    if open_ended:
        mark = _open_end(series, chart, 0, 0)
        mark[value_axis] = [along[i] for i in open_ended]
        mark[name_axis] = _positions(names[i] for i in open_ended)
        if series.hover:
            mark["text"] = [escape(series.hover[i]) for i in open_ended]
            mark["hovertemplate"] = "%{text}<extra></extra>"
            del mark["hoverinfo"]
        end = axis_range(chart, value_axis)[1]
        traces += [mark, _open_lines(mark, value_axis, name_axis, end, colour)]
    return traces


def _open_lines(mark: dict[str, Any], value_axis: str, name_axis: str, end: float, colour: str) -> dict[str, Any]:
    """Lines from each bound to the end of the axis."""
    along: list[Any] = []
    names: list[Any] = []
    for value, name in zip(mark[value_axis], mark[name_axis], strict=True):
        along += [value, end, None]
        names += [name, name, None]
    return {
        "type": "scatter",
        "mode": "lines",
        value_axis: along,
        name_axis: names,
        "line": {"color": colour, "width": 1.2, "dash": "dot"},
        "hoverinfo": "skip",
    }


_TRACES = {"line": _line, "step": _step, "points": _points, "band": _band, "bar": _bar, "interval": _interval}


def _distance(upper: Any, lower: Any) -> float:
    return 0.0 if upper is None or lower is None else max(float(upper) - float(lower), 0.0)


def _translucent(colour: str, share: float = _BAND) -> str:
    red, green, blue = (int(colour[start : start + 2], 16) for start in (1, 3, 5))
    return f"rgba({red},{green},{blue},{share})"


def with_days(traces: list[dict[str, Any]], layout: dict[str, Any]) -> None:
    """Converts everything along the x axis: values, range, shapes and annotations."""
    for trace in traces:
        trace["x"] = [_day(value) for value in trace["x"]]
    low, high = layout["xaxis"]["range"]
    layout["xaxis"] |= {"type": "date", "range": [_day(low), _day(high)]}
    layout["xaxis"]["tickvals"] = [_day(value) for value in layout["xaxis"]["tickvals"]]
    for shape in layout["shapes"]:
        if shape.get("xref") != "paper":
            shape["x0"], shape["x1"] = _day(shape["x0"]), _day(shape["x1"])
    for note in layout["annotations"]:
        if note.get("xref") != "paper":
            note["x"] = _day(note["x"])


def _day(position: Any) -> Any:
    """A position, possibly between two days, in Plotly's date format."""
    if position is None:
        return None
    whole = int(position)
    moment = datetime.fromordinal(whole) + timedelta(days=position - whole)
    return moment.isoformat(timespec="minutes") if moment.hour or moment.minute else moment.date().isoformat()
