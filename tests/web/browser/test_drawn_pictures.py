"""The browser draws an SVG as the PNG of the same chart shows it."""

from io import BytesIO

from PIL import Image, ImageChops

from app.figures.renderers.matplotlib_chart import png_bytes
from app.figures.renderers.svg_chart import svg_bytes
from tests.figures.some_charts import ALL


def test_the_browser_draws_what_the_png_shows(chromium):
    """The two renderers agree: fewer than one pixel in fifty differs by more than a quarter of the scale."""
    page = chromium.new_page(viewport={"width": 960, "height": 3000})
    for name, chart in ALL.items():
        png = Image.open(BytesIO(png_bytes(chart))).convert("L")
        page.set_content(f'<body style="margin:0">{svg_bytes(chart).decode()}')
        svg = Image.open(BytesIO(page.screenshot(clip={"x": 0, "y": 0, "width": 960, "height": png.height})))
        difference = ImageChops.difference(png, svg.convert("L")).histogram()
        assert png.getextrema()[0] < 100  # something was drawn
        assert sum(difference[64:]) < 960 * png.height / 50, name
    page.close()
