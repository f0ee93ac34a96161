"""The published site without the dashboard: opened from disk and from a plain file server."""

import functools
import http.server
import threading
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from tests.web.browser.accessibility import axe_script, violations
from tests.web.browser.conftest import Watch


class Quiet(http.server.SimpleHTTPRequestHandler):
    def log_message(self, *_: object) -> None:
        """Says nothing: the tests' own output is enough."""


@pytest.fixture(scope="module")
def site(demo_site: Path) -> Path:
    """A site whose bench is closed before anybody reads it."""
    return demo_site


@pytest.fixture(scope="module")
def address(site: Path) -> Iterator[str]:
    server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), functools.partial(Quiet, directory=str(site)))
    thread = threading.Thread(target=server.serve_forever)
    thread.start()
    yield f"http://127.0.0.1:{server.server_address[1]}"
    server.shutdown()
    thread.join()
    server.server_close()


@pytest.fixture
def reader(chromium, address: str):
    """A page of a reader without scripts, who must never need another machine."""
    watch = Watch(address)
    context = chromium.new_context(viewport={"width": 1280, "height": 900}, java_script_enabled=False)
    page = context.new_page()
    page.set_default_timeout(15_000)
    watch.on(page)
    yield page
    context.close()
    watch.assert_quiet()


def test_a_number_leads_to_its_raw_file_without_dashboard_and_script(reader, address: str, site: Path):
    reader.goto(f"{address}/index.html")
    reader.locator("tbody th a").first.click()
    reader.wait_for_url("**/units/*/index.html")
    assert reader.locator("figure.chart img").count() >= 1
    reader.locator("a:has-text('trial ')").first.click()
    reader.wait_for_url("**/trials/*.html")
    shown = reader.locator("code.hash").inner_text()
    with reader.expect_download() as download:
        reader.locator("dd a[download]").click()
    assert Path(download.value.path()).read_bytes() == next((site / "raw").glob(f"{shown}.*")).read_bytes()
    reader.locator("a:has-text('version ')").first.click()
    reader.wait_for_url("**/method.html")


def test_it_opens_from_the_disk(chromium, site: Path, keep_picture: Callable[..., None]):
    context = chromium.new_context(viewport={"width": 1280, "height": 900})
    page, watch = context.new_page(), Watch("")
    watch.on(page)
    for path in ("index.html", "costs.html", "trials/5.html", "changes.html"):
        page.goto((site / path).as_uri())
    page.goto((site / "pictures.html").as_uri())
    page.locator("figure.chart img").last.scroll_into_view_if_needed()
    page.wait_for_function("[...document.images].every(one => one.loading !== 'lazy' || one.complete)")
    widths = page.evaluate("[...document.images].filter(one => one.complete).map(one => one.naturalWidth)")
    assert len(widths) >= 3
    assert min(widths) > 300
    keep_picture(page, "published_pictures")
    context.close()
    watch.assert_quiet()


@pytest.mark.parametrize("width", [1280, 390])
def test_no_published_page_breaks_the_accessibility_rules_or_its_window(
    chromium, address: str, site: Path, keep_picture: Callable[..., None], width: int
):
    """Rules: WCAG 2.2 levels A and AA as far as axe-core finds them, and in the wide window the dark colours too."""
    script = axe_script()
    context = chromium.new_context(viewport={"width": width, "height": 900})
    page = context.new_page()
    paths = ["index.html", "pictures.html", "costs.html", "changes.html", "method.html", "trials/5.html"]
    paths += [
        f"units/{sorted((site / 'units').glob('*/index.html'))[0].parent.name}/index.html",
        "editions/1/index.html",
    ]
    found = {}
    for path in paths:
        page.emulate_media(color_scheme="light")
        page.goto(f"{address}/{path}")
        for scheme in ("light", "dark") if width == 1280 else ("light",):
            page.emulate_media(color_scheme=scheme)
            found[path, scheme] = violations(page, script, colours_only=scheme == "dark")
            assert page.evaluate("document.documentElement.scrollWidth") <= width, path
            keep_picture(page, f"published_{path.replace('/', '_').removesuffix('.html')}_{scheme}_{width}")
    context.close()
    assert {where: words for where, words in found.items() if words} == {}
