"""Figures for the browser: the library accepts them, nothing in them is markup, light and dark are left to the page."""

import html
import json
import math
from dataclasses import replace
from typing import Any

import pytest

from app.figures.axis_range import axis_range
from app.figures.chart import Axis, Chart
from app.figures.layout.chart_layout import chart_layout
from app.figures.renderers.plotly_chart import plotly_figure
from tests.figures.some_charts import ALL, HARMFUL, bar_chart, interval_chart, line_chart


@pytest.mark.parametrize("chart", ALL.values(), ids=ALL.keys())
def test_the_library_accepts_the_figure(chart: Chart):
    from plotly.graph_objects import Figure

    figure = plotly_figure(chart)
    Figure({"data": figure["data"], "layout": figure["layout"]})  # raises for any name or value it does not know


@pytest.mark.parametrize("chart", ALL.values(), ids=ALL.keys())
def test_the_figure_is_plain_json(chart: Chart):
    text = json.dumps(plotly_figure(chart), allow_nan=False)
    assert json.loads(text)["meta"]["alt_text"] == chart.alt_text


def _texts(value: Any) -> list[str]:
    if isinstance(value, dict):
        return [text for key, part in value.items() if key != "meta" for text in _texts(part)]
    if isinstance(value, list):
        return [text for part in value for text in _texts(part)]
    return [value] if isinstance(value, str) else []


@pytest.mark.parametrize("name", ["harmful", "intervals"])
def test_no_name_becomes_markup(name: str):
    figure = plotly_figure(ALL[name])
    texts = _texts(figure["data"]) + _texts(figure["layout"])
    assert any("&lt;img" in text for text in texts)
    assert not any("<img" in text for text in texts)


def test_plotted_values_are_those_of_the_description():
    chart = line_chart()
    traces = plotly_figure(chart)["data"]
    readings = next(trace for trace in traces if trace["name"].endswith("reading"))
    assert readings["x"] == list(chart.series[0].x)
    assert readings["y"] == list(chart.series[0].y)


def test_places_on_a_logarithmic_axis_are_logarithms():
    layout = plotly_figure(line_chart("log"))["layout"]
    assert layout["yaxis"]["range"][0] == 0.0
    words = next(note for note in layout["annotations"] if note["text"] == "clear level")
    assert words["y"] == pytest.approx(1.0)
    line = next(shape for shape in layout["shapes"] if shape["type"] == "line" and shape["y0"] == 10.0)
    assert line["y1"] == 10.0  # a shape, unlike words, takes the level itself


def test_a_bound_is_an_open_mark_with_a_line_to_the_end():
    traces = plotly_figure(interval_chart())["data"]
    reached, mark, line = traces
    assert reached["x"] == [30.0, 60.0]
    assert reached["error_x"]["array"] == pytest.approx([3.0, 10.0])
    assert mark["x"] == [140.0]
    assert mark["marker"]["symbol"] == "triangle-right-open"
    assert line["x"][0] == 140.0
    assert line["x"][1] > 140.0


def test_a_censored_curve_ends_in_an_open_mark():
    traces = plotly_figure(line_chart())["data"]
    marks = [trace for trace in traces if trace.get("marker", {}).get("symbol") == "triangle-right-open"]
    assert [mark["x"] for mark in marks] == [[55.0]]


def test_an_open_mark_is_kept_inside_an_axis_that_ends_a_rounding_before_it():
    chart = line_chart()
    short = replace(chart, x_axis=replace(chart.x_axis, high=55.0 - 1e-4))
    traces = plotly_figure(short)["data"]
    mark = next(trace for trace in traces if trace.get("marker", {}).get("symbol") == "triangle-right-open")
    assert mark["x"] == [55.0 - 1e-4]
    assert mark["x"][0] <= plotly_figure(short)["layout"]["xaxis"]["range"][1]


def test_references_in_ink_are_named_for_the_page_to_colour():
    figure = plotly_figure(line_chart())
    assert [figure["data"][index]["name"] for index in figure["meta"]["ink_traces"]] == ["Empty room"]


def test_the_names_axis_runs_from_top_to_bottom():
    layout = plotly_figure(bar_chart())["layout"]
    assert layout["yaxis"]["range"] == [1.5, -0.5]
    assert layout["yaxis"]["ticktext"] == ["Unit A", "Unit B"]
    assert layout["yaxis"]["categoryarray"] == ["Unit A", "Unit B"]
    assert layout["barmode"] == "stack"


def test_the_ends_of_the_axes_are_finite():
    for chart in ALL.values():
        for axis in ("xaxis", "yaxis"):
            ends = plotly_figure(chart)["layout"][axis].get("range", [0.0, 1.0])
            assert all(math.isfinite(end) for end in ends)


def test_harmful_hover_text_is_escaped():
    mark = plotly_figure(interval_chart())["data"][1]
    assert HARMFUL not in mark["text"][0]


def test_labels_keep_to_their_data_when_the_reader_zooms():
    """The label of a curve is placed from its end; a level moves up and down, a mark sideways."""
    notes = {note["text"]: note for note in plotly_figure(line_chart())["layout"]["annotations"]}
    label = notes["Maker A"]
    assert label["showarrow"]
    assert (label["x"], label.get("xref")) == (55.0, None)
    assert notes["clear level"]["xref"] == "paper"
    assert notes["clear level"]["y"] == 10.0
    assert notes["unit on"]["yref"] == "paper"
    assert notes["unit on"]["x"] == 2.0


@pytest.mark.parametrize("width", [360, 700, 1280])
@pytest.mark.parametrize("chart", ALL.values(), ids=ALL.keys())
def test_texts_are_where_the_layout_puts_them(chart: Chart, width: int):
    """Converted back from the figure's coordinates to pixels."""
    layout = chart_layout(chart, width, 480)
    figure = plotly_figure(chart, width, 480)["layout"]
    margin = figure["margin"]
    wide, high = figure["width"] - margin["l"] - margin["r"], figure["height"] - margin["t"] - margin["b"]
    placed = {"<br>".join(text.lines): text.anchor for text in layout.texts if text.kind != "tick"}
    assert len(placed) == len(figure["annotations"])

    def pixel(note: dict[str, Any], which: str, size: float, start: float, axis: Axis) -> float:
        low, high_end = axis_range(chart, which)  # type: ignore[arg-type]
        value = note[which]
        if note.get(f"{which}ref") == "paper":
            share = value
        elif axis.scale == "log":
            share = (value - math.log10(low)) / (math.log10(high_end) - math.log10(low))
        else:
            share = (value - low) / (high_end - low)
        moved = note.get(f"a{which}", 0) if note["showarrow"] else 0
        shift = note.get(f"{which}shift", 0)
        if which == "x":
            return start + share * size + moved + shift
        return start + (1 - share) * size + moved - shift

    for note in figure["annotations"]:
        x = pixel(note, "x", wide, margin["l"], chart.x_axis)
        y = pixel(note, "y", high, margin["t"], chart.y_axis)
        assert (x, y) == pytest.approx(placed[html.unescape(note["text"])], abs=1.0), note
