"""A chart as one file: self-contained, without script or external resources."""

import re
from dataclasses import replace
from datetime import date
from html.parser import HTMLParser
from xml.etree import ElementTree

import pytest

from app.figures.chart import Chart, HouseStyle
from app.figures.renderers.embedded_chart import chart_html
from app.figures.renderers.svg_chart import inline_svg
from tests.figures.layout.hostile_charts import HOSTILE
from tests.figures.some_charts import ALL, HARMFUL, bar_chart, line_chart


class _Reader(HTMLParser):
    """Tags with their attributes, and the text."""

    def __init__(self) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.text = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))

    def handle_data(self, data: str) -> None:
        self.text += data


def read(html: str) -> _Reader:
    reader = _Reader()
    reader.feed(html)
    return reader


@pytest.mark.parametrize("chart", ALL.values(), ids=ALL.keys())
def test_the_file_loads_and_runs_nothing(chart: Chart):
    found = read(chart_html(chart))
    tags = {tag for tag, _ in found.tags}
    assert tags.isdisjoint({"script", "img", "link", "iframe", "object", "image"})
    for _, attributes in found.tags:
        assert not any(name.startswith("on") for name in attributes)
        for name in ("href", "xlink:href", "src"):
            assert (attributes.get(name) or "#").startswith("#")
    assert "default-src 'none'" in next(
        attributes["content"] or "" for tag, attributes in found.tags if tag == "meta" and "http-equiv" in attributes
    )


@pytest.mark.parametrize("chart", ALL.values(), ids=ALL.keys())
def test_the_picture_inside_is_well_formed_and_says_the_finding(chart: Chart):
    root = ElementTree.fromstring(inline_svg(chart))
    assert root.get("aria-label") == chart.alt_text
    assert root.get("width") is None
    assert root.get("viewBox")


def test_every_mark_that_is_used_is_there_under_a_name_of_the_chart_s_own():
    svg, other = inline_svg(line_chart()), inline_svg(line_chart("log"))
    marks = set(re.findall(r'\bid="([^"]+)"', svg))
    used = set(re.findall(r'href="#([^"]+)"', svg)) | set(re.findall(r"url\(#([^)]+)\)", svg))
    assert used == marks
    assert marks.isdisjoint(re.findall(r'\bid="([^"]+)"', other))


def test_the_numbers_stand_below_with_their_bounds_and_without_the_faint_readings():
    text = read(chart_html(line_chart())).text
    assert "Maker A, fit" in text
    assert "at least Maker A, fit" in text
    assert "Maker A, reading" not in text
    assert "70.0" in read(chart_html(bar_chart())).text


def test_source_and_day_of_the_newest_datum_stand_in_it_and_no_other_day():
    html = chart_html(replace(line_chart(), newest=date(2026, 3, 2)))
    assert "A bench. Method version 1. Latest data: 2026-03-02." in html
    assert set(re.findall(r"20\d\d-\d\d-\d\d", html)) == {"2026-03-02"}


def test_a_phone_gets_a_drawing_of_its_own_and_long_curves_few_lines():
    curves = HOSTILE["curves"]
    html = chart_html(curves)
    assert html.count("<svg ") == 2
    assert "@media(max-width:560px){.wide{display:none}.narrow{display:block}}" in html
    assert "some of its points; the plotted data (CSV) have all" in html
    assert "some of its points" not in chart_html(line_chart())
    assert html.count("<tr>") <= 300


def test_harmful_names_stay_words():
    assert "<img" not in chart_html(line_chart(name=HARMFUL))


def test_the_publication_s_look_reaches_the_file():
    house = HouseStyle(publication="The Weekly Post", font="DejaVu Serif", ink="#102030", accent="#7a1f3d")
    html = chart_html(replace(line_chart(), house=house))
    assert 'font:16px/1.5 "DejaVu Serif"' in html
    assert "color:#102030" in html
    assert "#7a1f3d" in html.split("<svg", 1)[1]  # in the picture: the first curve


def test_the_same_chart_gives_the_same_file():
    assert chart_html(line_chart()) == chart_html(line_chart())
