"""Downloaded pictures: right size, safe text, and the same bytes for the same chart in any process."""

import gc
import hashlib
import os
import struct
import subprocess
import sys
import weakref
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
from matplotlib.figure import Figure

from app.figures.layout.chart_layout import chart_layout
from app.figures.renderers.matplotlib_chart import png_bytes
from app.figures.renderers.svg_chart import svg_bytes
from tests.figures.some_charts import line_chart

_PRINT_DIGESTS = """
import hashlib
from app.figures.renderers.matplotlib_chart import png_bytes
from app.figures.renderers.svg_chart import svg_bytes
from tests.figures.some_charts import line_chart
for drawn in (svg_bytes(line_chart()), png_bytes(line_chart())):
    print(hashlib.sha256(drawn).hexdigest())
"""


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
        assert height == round(chart_layout(line_chart(), width).height)


def test_a_narrow_picture_names_its_curves_in_a_key_below():
    def names(width: int) -> list[str]:
        return [text.kind for text in chart_layout(line_chart(), width).texts if text.series is not None]

    assert set(names(960)) == {"end"}
    assert set(names(390)) == {"key"}
    assert len(names(960)) == len(names(390)) == 2


@pytest.mark.skipif(not Path("/proc/self/fd").exists(), reason="counts the open handles that Linux tells of")
def test_many_threads_that_ask_open_no_fonts_of_their_own_and_get_the_same_bytes():
    first = png_bytes(line_chart())
    before = len(list(Path("/proc/self/fd").iterdir()))
    with ThreadPoolExecutor(6) as askers:
        drawn = list(askers.map(lambda _: png_bytes(line_chart()), range(12)))
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
        left = [figure() for figure in drawn]
    finally:
        gc.enable()
    assert left == [None]
