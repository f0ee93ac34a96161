"""Pictures as SVG: well formed, text as text, light and dark, every reading at its place."""

import re
from dataclasses import replace
from xml.etree import ElementTree

import pytest

from app.compute.wording.contrast import LINE_CONTRAST, TEXT_CONTRAST, contrast
from app.figures.chart import Axis, Chart, HouseStyle, Series
from app.figures.layout.chart_layout import chart_layout
from app.figures.palette import CURVE_COLOURS, FADED, INK, PAPER, REGION, lightened
from app.figures.renderers.svg_chart import svg_bytes
from app.figures.renderers.svg_colours import DARK, readable_on_dark
from tests.figures.some_charts import ALL, HARMFUL, line_chart

_SVG = "{http://www.w3.org/2000/svg}"


@pytest.mark.parametrize("chart", ALL.values(), ids=ALL.keys())
def test_the_picture_is_well_formed_and_says_what_it_shows(chart: Chart):
    root = ElementTree.fromstring(svg_bytes(chart))
    assert root.tag == f"{_SVG}svg"
    text = "".join(root.itertext())
    assert chart.alt_text in text
    assert chart.title in text


def test_text_is_text_in_fonts_that_every_system_has():
    """Not outlines: a reader can select and search it, and an editor can change it."""
    root = ElementTree.fromstring(svg_bytes(line_chart()))
    texts = ["".join(text.itertext()) for text in root.iter(f"{_SVG}text")]
    assert {"How fast?", "Maker A", "Empty room", "clear level", "unit on", "Time [min]"} <= set(texts)
    fonts = {group.get("font-family") for group in root.iter(f"{_SVG}g")} - {None}
    assert fonts == {"'DejaVu Sans', Verdana, Geneva, Arial, sans-serif"}
    serif = ElementTree.fromstring(svg_bytes(replace(line_chart(), house=HouseStyle(font="DejaVu Serif"))))
    assert [group.get("font-family", "")[:23] for group in serif.iter(f"{_SVG}g")][:1] == ["'DejaVu Serif', Georgia"]


def test_every_colour_of_the_picture_has_a_partner_in_the_dark():
    svg = svg_bytes(line_chart()).decode()
    rules = re.search(r"@media \(prefers-color-scheme:dark\)\{(.*)\}</style>", svg)
    assert rules
    drawn = re.sub(r"<style.*?</style>", "", svg, flags=re.DOTALL)
    used = set(re.findall(r'(fill|stroke)="(#[0-9a-fA-F]{6})"', drawn))
    assert len(used) > 5
    named = set(re.findall(r'\[(fill|stroke)="(#[0-9a-fA-F]{6})"\]', rules.group(1)))
    assert used - named == {("fill", REGION)}  # the grey of the fit window is clear


def test_what_is_read_in_the_dark_has_contrast():
    for light in (INK, FADED):
        assert contrast(DARK[light], DARK[PAPER]) >= TEXT_CONTRAST
    for colour in ("#000000", "#224466", "#7A1F3D"):
        assert contrast(readable_on_dark(colour), DARK[PAPER]) >= TEXT_CONTRAST
    for colour in CURVE_COLOURS:
        assert contrast(lightened(colour), DARK[PAPER]) >= LINE_CONTRAST


def test_markup_and_mathematics_in_names_stay_words():
    drawn = svg_bytes(line_chart(name=HARMFUL))
    assert b"<img" not in drawn
    ElementTree.fromstring(drawn)


def test_another_chart_gives_other_bytes():
    assert svg_bytes(line_chart()) != svg_bytes(replace(line_chart(), title="Another"))


def test_the_publication_puts_its_name_and_ink_on_the_picture():
    plain = line_chart()
    styled = replace(plain, house=HouseStyle(publication="The Weekly Post", ink="#224466"))
    assert b"#224466" in svg_bytes(styled)
    assert b"#224466" not in svg_bytes(plain)


@pytest.fixture(scope="module")
def readings() -> Chart:
    """Four hundred faint readings and their fit."""
    minutes = tuple(0.25 * number for number in range(400))
    levels = tuple(300.0 * 0.97**number for number in range(400))
    return Chart(
        name="a", title="T", subtitle="", x_axis=Axis("Time", "min"), y_axis=Axis("PM2.5", "µg/m³"),
        series=(Series("reading", "points", minutes, levels, faint=True), Series("fit", "line", minutes, levels)),
        alt_text="", source_line="",
    )  # fmt: skip


def test_every_reading_is_a_dot_at_its_place(readings: Chart):
    """To a tenth of a pixel; equal places are one dot."""
    path = next(one for one in re.findall(r'd="([^"]+)"', svg_bytes(readings, 390).decode()) if "h0" in one)
    numbers = [[float(part) for part in re.findall(r"-?\d*\.?\d+", step)] for step in re.split("[mM]", path)[1:]]
    places, x, y = set(), 0.0, 0.0
    for across, down, end in numbers:
        x, y = round(x + across, 1), round(y + down, 1)
        assert end == 0
        places.add((x, y))
    positions = chart_layout(readings, 390).positions
    (run,) = positions.runs(readings.series[0])
    assert places == {(round(x, 1), round(y, 1)) for x, y in run}
    assert len(places) > 250
