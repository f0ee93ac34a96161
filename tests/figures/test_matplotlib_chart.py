"""Downloaded pictures: right size, safe text, and the same bytes for the same chart in any process."""

import gc
import hashlib
import os
import struct
import subprocess
import sys
import weakref
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree

import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.text import Text

from app.figures.chart import Chart, HouseStyle
from app.figures.renderers.matplotlib_chart import png_bytes, svg_bytes
from app.figures.renderers.narrow_drawing import height_px
from tests.figures.some_charts import ALL, HARMFUL, line_chart

_PRINT_DIGESTS = """
import hashlib
from app.figures.renderers.matplotlib_chart import png_bytes, svg_bytes
from app.figures.renderers.narrow_drawing import height_px
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


@pytest.mark.parametrize("width_px", [390, 960])
@pytest.mark.parametrize("chart", ALL.values(), ids=ALL.keys())
def test_no_words_run_out_of_the_picture(chart: Chart, width_px: int, monkeypatch: pytest.MonkeyPatch):
    drawn: list[Figure] = []
    monkeypatch.setattr(Figure, "savefig", lambda figure, *_, **__: drawn.append(figure))
    png_bytes(chart, width_px)
    (figure,) = drawn
    FigureCanvasAgg(figure).draw()
    (axes,) = figure.axes
    # the library keeps marks beyond the ends of an axis and does not draw them
    low, high = sorted(axes.get_xlim())
    beyond = [mark for mark in axes.get_xticklabels() if not low <= mark.get_position()[0] <= high]
    low, high = sorted(axes.get_ylim())
    beyond += [mark for mark in axes.get_yticklabels() if not low <= mark.get_position()[1] <= high]
    texts = [text for text in figure.findobj(Text) if text.get_visible() and text.get_text() and text not in beyond]
    assert len(texts) > 4
    boxes = {text.get_text(): text.get_window_extent() for text in texts}
    outside = [words for words, box in boxes.items() if box.x0 < -1 or box.x1 > width_px + 1 or box.y0 < -1]
    assert outside == []


def test_a_narrow_picture_names_its_curves_in_a_key_below():
    wide, narrow = svg_bytes(line_chart(), 960), svg_bytes(line_chart(), 390)
    assert b'id="legend_1"' not in wide
    assert b'id="legend_1"' in narrow
    assert height_px(line_chart(), 390) > height_px(line_chart(), 600)


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
