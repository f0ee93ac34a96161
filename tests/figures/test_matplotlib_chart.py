"""Downloaded pictures: right size, safe text, and the same bytes for the same chart in any process."""

import gc
import hashlib
import os
import re
import struct
import subprocess
import sys
import weakref
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree

import pytest
from matplotlib.figure import Figure

from app.compute.wording.contrast import LINE_CONTRAST, TEXT_CONTRAST, contrast
from app.figures.chart import Chart, HouseStyle
from app.figures.layout.chart_layout import chart_layout
from app.figures.palette import CURVE_COLOURS, FADED, INK, PAPER, lightened
from app.figures.renderers.matplotlib_chart import drawn_height, png_bytes, svg_bytes
from app.figures.renderers.svg_colours import DARK, readable_on_dark
from tests.figures.some_charts import ALL, HARMFUL, line_chart

_PRINT_DIGESTS = """
import hashlib
from app.figures.renderers.matplotlib_chart import png_bytes, svg_bytes
from tests.figures.some_charts import line_chart
for drawn in (svg_bytes(line_chart()), png_bytes(line_chart())):
    print(hashlib.sha256(drawn).hexdigest())
"""


@pytest.mark.parametrize("chart", ALL.values(), ids=ALL.keys())
def test_the_picture_is_well_formed_and_says_what_it_shows(chart: Chart):
    root = ElementTree.fromstring(svg_bytes(chart))
    assert root.tag == "{http://www.w3.org/2000/svg}svg"
    text = "".join(root.itertext())
    assert chart.alt_text in text
    assert chart.title in text


def test_the_same_chart_gives_the_same_bytes_in_another_process():
    """Neither the order of hashes nor the time may enter the file."""
    here = [hashlib.sha256(drawn).hexdigest() for drawn in (svg_bytes(line_chart()), png_bytes(line_chart()))]
    environment = os.environ | {"PYTHONHASHSEED": "123", "TZ": "Asia/Tokyo", "SOURCE_DATE_EPOCH": "1"}
    there = subprocess.run(
        [sys.executable, "-c", _PRINT_DIGESTS],
        capture_output=True,
        text=True,
        check=True,
        env=environment,
        cwd=Path(__file__).parents[2],
    ).stdout.split()
    assert there == here


def test_no_date_is_in_the_picture():
    assert b"<dc:date>" not in svg_bytes(line_chart())
    assert b"tIME" not in png_bytes(line_chart())


@pytest.mark.parametrize(("width_px", "fineness"), [(960, 1.0), (960, 2.0), (400, 1.0)])
def test_the_picture_has_the_size_that_was_asked_for(width_px: int, fineness: float):
    drawn = png_bytes(line_chart(), width_px, fineness)
    width, height = struct.unpack(">II", drawn[16:24])
    assert width == width_px * fineness
    assert height > 0.4 * width


def test_the_height_that_is_told_is_the_height_that_is_drawn():
    for width in (390, 960):
        _, height = struct.unpack(">II", png_bytes(line_chart(), width)[16:24])
        assert height == drawn_height(line_chart(), width)


def test_a_narrow_picture_names_its_curves_in_a_key_below():
    def names(width: int) -> list[str]:
        return [text.kind for text in chart_layout(line_chart(), width).texts if text.series is not None]

    assert set(names(960)) == {"end"}
    assert set(names(390)) == {"key"}
    assert len(names(960)) == len(names(390)) == 2


def test_text_is_text_in_fonts_that_every_system_has():
    """Not outlines: a reader can select and search it, and an editor can change it."""
    root = ElementTree.fromstring(svg_bytes(line_chart()))
    texts = ["".join(text.itertext()) for text in root.iter("{http://www.w3.org/2000/svg}text")]
    assert {"How fast?", "Maker A", "Empty room", "clear level", "unit on", "Time [min]"} <= set(texts)
    fonts = {text.get("style") for text in root.iter("{http://www.w3.org/2000/svg}text")}
    assert all("'DejaVu Sans', Verdana, Geneva, Arial, sans-serif" in (style or "") for style in fonts)
    serif = svg_bytes(replace(line_chart(), house=HouseStyle(font="DejaVu Serif"))).decode()
    assert "'DejaVu Serif', Georgia" in serif


def test_every_colour_of_the_picture_has_a_partner_in_the_dark():
    svg = svg_bytes(line_chart()).decode()
    rules = re.search(r"@media \(prefers-color-scheme:dark\)\{(.*)\}</style>", svg)
    assert rules
    used = set(re.findall(r"(fill|stroke): (#[0-9a-f]{6})", re.sub(r"<style.*?</style>", "", svg, flags=re.DOTALL)))
    assert len(used) > 5
    named = set(re.findall(r"\[style\*=\"(fill|stroke): (#[0-9a-f]{6})\"\]", rules.group(1)))
    assert {pair for pair in used if pair not in named} <= {("fill", "#777777")}  # the grey of the fit window is clear


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


@pytest.mark.skipif(not Path("/proc/self/fd").exists(), reason="counts the open handles that Linux tells of")
def test_many_threads_that_ask_open_no_fonts_of_their_own_and_get_the_same_bytes():
    first = svg_bytes(line_chart())
    before = len(list(Path("/proc/self/fd").iterdir()))
    with ThreadPoolExecutor(6) as askers:
        drawn = list(askers.map(lambda _: svg_bytes(line_chart()), range(12)))
    assert set(drawn) == {first}
    assert len(list(Path("/proc/self/fd").iterdir())) == before


def test_a_drawing_is_gone_with_its_pixels_once_it_is_drawn(monkeypatch: pytest.MonkeyPatch):
    """Its parts refer to one another; a server's collector would keep some tens of them before it looks at them."""
    drawn = []

    def seen(*arguments, **options):
        figure = Figure(*arguments, **options)
        drawn.append(weakref.ref(figure))
        return figure

    monkeypatch.setattr("matplotlib.figure.Figure", seen)
    gc.disable()
    try:
        png_bytes(line_chart())
        svg_bytes(line_chart())
        left = [figure() for figure in drawn]
    finally:
        gc.enable()
    assert left == [None, None]
