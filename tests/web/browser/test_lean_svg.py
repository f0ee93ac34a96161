"""A leaner SVG shows the same picture, in the browser's own drawing."""

import re
from io import BytesIO
from xml.etree import ElementTree

import pytest
from PIL import Image, ImageChops

from app.figures.chart import Axis, Chart, Series
from app.figures.renderers.matplotlib_chart import svg_bytes
from app.web.published.lean_svg import lean_svg


@pytest.fixture(scope="module")
def drawn() -> bytes:
    """Four hundred faint readings and their fit."""
    minutes = tuple(0.25 * number for number in range(400))
    levels = tuple(300.0 * 0.97**number for number in range(400))
    return svg_bytes(
        Chart(
            name="a", title="T", subtitle="", x_axis=Axis("Time", "min"), y_axis=Axis("PM2.5", "µg/m³"),
            series=(Series("reading", "points", minutes, levels, faint=True), Series("fit", "line", minutes, levels)),
            alt_text="", source_line="",
        ),
        390,
    )  # fmt: skip


def test_every_dot_stays_at_its_place(drawn: bytes):
    before, after = drawn.decode(), lean_svg(drawn).decode()
    wanted = re.findall(r'<use xlink:href="#\w+" x="([\d.]+)" y="([\d.]+)" style="fill: #\w+; fill-opacity', before)
    found = re.findall(r"M([\d.]+) ([\d.]+)h0", after)
    assert len(wanted) == len(found) == 400
    for (x, y), (new_x, new_y) in zip(wanted, found, strict=True):
        assert float(new_x) == pytest.approx(float(x), abs=0.006)
        assert float(new_y) == pytest.approx(float(y), abs=0.006)
    assert 'stroke-linecap: round"' in after
    assert "stroke-opacity: 0.35" in after


def test_it_is_well_formed_and_much_smaller_and_keeps_its_words(drawn: bytes):
    lean = lean_svg(drawn)
    assert ElementTree.fromstring(lean).tag == "{http://www.w3.org/2000/svg}svg"
    assert len(lean) < len(drawn) / 2
    assert re.sub(r"\s+", "", "".join(ElementTree.fromstring(lean).itertext())) == re.sub(
        r"\s+", "", "".join(ElementTree.fromstring(drawn).itertext())
    )
    assert lean_svg(lean) == lean


def test_the_browser_draws_the_same_picture(chromium, drawn: bytes):
    """Fewer than one pixel in a hundred differs by more than a tenth of the scale."""
    pictures = []
    for svg in (drawn, lean_svg(drawn)):
        page = chromium.new_page(viewport={"width": 400, "height": 500})
        page.set_content(svg.decode().partition("?>")[2])
        pictures.append(Image.open(BytesIO(page.screenshot())).convert("L"))
        page.close()
    difference = ImageChops.difference(*pictures).histogram()
    assert min(pictures[0].getextrema()[0], pictures[1].getextrema()[0]) < 100  # something was drawn
    assert sum(difference[26:]) < 0.01 * 400 * 500
