"""Figures for the browser: the library accepts them, nothing in them is markup, light and dark are left to the page."""

import json
import math
from dataclasses import replace
from typing import Any

import pytest

from app.figures.chart import Chart
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
    assert layout["yaxis"]["autorange"] == "reversed"
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
