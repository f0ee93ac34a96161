"""The drawing library that is shipped: small, of the version that our figures are checked with, and enough for them."""

import gzip
import importlib.util
import re
from pathlib import Path

from app.web.templating.static_files import PLOTLY_SCRIPT, static_folder, styles_left_out
from tests.figures.some_charts import ALL

SCRIPT = static_folder() / PLOTLY_SCRIPT


def version_of(script: Path) -> str:
    with script.open(encoding="utf-8") as opened:
        return re.search(r"plotly\.js[^\n]* v(\d+\.\d+\.\d+)", opened.read(500))[1]


def test_it_has_the_version_inside_the_package_that_checks_our_figures():
    package = importlib.util.find_spec("plotly")
    assert version_of(SCRIPT) == version_of(Path(package.origin).parent / "package_data" / "plotly.min.js")


def test_it_is_at_most_half_a_megabyte_compressed():
    assert len(gzip.compress(SCRIPT.read_bytes(), 5)) <= 500_000


def test_it_comes_with_its_licence():
    assert "Permission is hereby granted" in (SCRIPT.parent / "LICENSE.txt").read_text()


def test_our_charts_are_made_of_what_it_draws():
    from app.figures.renderers.plotly_chart import plotly_figure

    kinds = {trace["type"] for chart in ALL.values() for trace in plotly_figure(chart)["data"]}
    text = SCRIPT.read_text(encoding="utf-8")
    assert kinds
    for kind in kinds:
        assert re.search(rf'moduleType:"trace",name:"{kind}"', text), kind


def test_the_style_elements_it_would_insert_are_left_out():
    assert all(re.fullmatch(r"[0-9a-f]{64}", one) for one in styles_left_out())
    assert styles_left_out()
