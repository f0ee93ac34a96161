"""Every page with a chart offers it for download in every format.

The pages are found by following the links of the bench from its first page, one page of each kind.
"""

import re
import struct
import urllib.error
import urllib.request
from dataclasses import dataclass, field
from html.parser import HTMLParser
from urllib.parse import urljoin, urlsplit
from xml.etree import ElementTree

import pytest

from tests.sample_data.local_access import local_script
from tests.web.browser.conftest import ServedBench

FORMATS = ("svg", "png", "html", "csv", "txt")
NAMED = {
    "decay-overlay",
    "ranking",
    "clearing-times",
    "cost-bars",
    "cost-over-years",
    "cost-sensitivity",
    "frontier",
    "sound-spectra",
    "claims-measured",
    "price-history",
    "trial-decay",
    "residuals",
    "logger-scatter",
    "logger-difference",
    "logger-record",
    "room-control",
    "planned-runs",
}
CHOSEN = (
    "/plan?goal=rate&unit_id=1",
    "/costs?unit=1&unit=2",
    "/listen?clip=1&clip=2",
    "/compare?unit_id=1&unit_id=2",
    "/curves",
    "/ranking/pictures",
    "/room",
)
_MOST_OF_A_KIND = 6  # pages of one kind that are read; a chart may be on some of them only


@dataclass
class Page(HTMLParser):
    """Links, figures and panels of one page."""

    path: str
    links: list[str] = field(default_factory=list)
    figures: set[str] = field(default_factory=set)
    panels: dict[str, set[str]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        super().__init__()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        found = dict(attrs)
        if url := found.get("data-figure-url"):
            self.figures.add(url)
        address = (found.get("href") if tag == "a" else found.get("action") if tag == "form" else "") or ""
        if taken := re.match(r"/charts/([a-z-]+)\.(?!mp4|webm)", address):
            self.panels.setdefault(taken[1], set()).add(("form " if tag == "form" else "") + address)
        elif tag == "a" and address:
            self.links.append(address)


def _get(bench: ServedBench, path: str, headers: dict[str, str] | None = None) -> tuple[int, bytes, dict[str, str]]:
    request = urllib.request.Request(bench.address + path, headers=local_script(bench.data_folder) | (headers or {}))
    try:
        with urllib.request.urlopen(request, timeout=60) as answer:
            return answer.status, answer.read(), {name.lower(): value for name, value in answer.headers.items()}
    except urllib.error.HTTPError as error:
        return error.code, error.read(), dict(error.headers.items())


def _kind(address: str) -> str:
    return re.sub(r"\d+", "N", urlsplit(address).path)


@pytest.fixture(scope="module")
def chart_pages(served_bench) -> dict[str, Page]:
    """Path to page, for every page on which a chart is drawn or offered."""
    waiting, seen, kinds, found = ["/", *CHOSEN], set(), {}, {}
    while waiting:
        address = waiting.pop(0).partition("#")[0]
        kind = _kind(address)
        many = _MOST_OF_A_KIND if "N" in kind else 1
        if address in seen or (kinds.get(kind, 0) >= many and address not in CHOSEN):
            continue
        seen.add(address)
        status, content, headers = _get(served_bench, address)
        if status != 200 or not headers.get("content-type", "").startswith("text/html") or "/tables/" in address:
            continue
        kinds[kind] = kinds.get(kind, 0) + 1
        page = Page(address)
        page.feed(content.decode())
        page.panels = {name: offered for name, offered in page.panels.items() if not _is_film_alone(offered)}
        if page.figures or page.panels:
            found[address] = page
        own = [urljoin(address, link) for link in page.links]
        inner = [link for link in own if link.startswith("/") and not link.startswith(("//", "/api"))]
        waiting += [link for link in inner if "." not in urlsplit(link).path]  # files are made when they are asked for
    return found


def _charts_of(page: Page) -> set[str]:
    """Names of the charts that the page draws. What a trial's page draws stands at an address of its own."""
    names = set()
    for url in page.figures:
        path = urlsplit(url).path
        if path.startswith("/figures/"):
            names.add(path.removeprefix("/figures/").removesuffix(".json"))
        elif path.endswith("/residuals.json"):
            names.add("residuals")
        else:
            names.add("trial-decay")
    return names


def _is_film_alone(offered: set[str]) -> bool:
    """What an article offers of a chart that its unit's page draws and offers whole."""
    return all(".gif" in address for address in offered)


def _is_only_a_look_ahead(path: str) -> bool:
    """Marks that nobody has saved yet: there is nothing to publish, and the trial's own page has the panel."""
    return path.partition("?")[0].endswith("/marks")


def test_the_walk_meets_every_chart_there_is(chart_pages: dict[str, Page]):
    met = {name for page in chart_pages.values() for name in _charts_of(page)}
    assert met == NAMED
    assert len({_kind(path) for path in chart_pages}) >= 8


def test_each_chart_on_each_page_has_its_panel_with_every_format(chart_pages: dict[str, Page]):
    lacking = {}
    for path, page in chart_pages.items():
        if _is_only_a_look_ahead(path):
            continue
        for name in _charts_of(page) | set(page.panels):
            offered = page.panels.get(name, set())
            wanted = {f"/charts/{name}.{ending}" for ending in FORMATS} | {f"form /charts/{name}.png", "fineness=2"}
            absent = {one for one in wanted if not any(one in address for address in offered)}
            if absent:
                lacking[path, name] = absent
    assert lacking == {}


def test_what_is_offered_comes_and_is_what_it_says(chart_pages: dict[str, Page], served_bench):
    """One page of each kind and chart: the SVG parses, each PNG has its width, words hold numbers, bytes stay. A chart
    that another kind of page has offered already comes from the same address: there its SVG, data and words are asked
    for, and no picture is drawn again. Further sizes and looks, the double resolution and the same picture once more
    are made alike of every chart, so the first one is asked for them (`tests/web/pages/downloads/test_charts.py` asks
    every chart for the double resolution of a small picture); an animation is asked for once, ten times as fast."""
    done, drawn, moving = set(), set(), set()
    for path, page in chart_pages.items():
        for name, addresses in page.panels.items():
            if (_kind(path), name) in done:
                continue
            done.add((_kind(path), name))
            files = {}
            for address in sorted(addresses):
                if address.startswith("form "):
                    continue
                if name in drawn and re.search(r"\.(png|html)\b", address):
                    continue
                if drawn and re.search(r"[?&](size|look)=|fineness=2", address):
                    continue
                if ".gif" in address:
                    if not moving:
                        assert _get(served_bench, f"{address}&speed=6000")[1].startswith(b"GIF89a")
                    moving.add(address)
                    continue
                status, content, headers = _get(served_bench, address)
                assert (path, address, status) == (path, address, 200)
                if (name not in drawn and ".png" not in address) or not drawn:
                    again = _get(served_bench, address, {"If-None-Match": headers["etag"]})
                    assert (address, again[0], again[1]) == (address, 304, b"")  # computed again: the same bytes
                kind = re.search(r"\.(\w+)", address)[1]
                files.setdefault("png2" if "fineness=2" in address else kind, content)  # the first is as wide as a page
            assert ElementTree.fromstring(files["svg"]).tag == "{http://www.w3.org/2000/svg}svg"
            if name not in drawn:
                assert struct.unpack(">I", files["png"][16:20]) == (960,)
                assert drawn or struct.unpack(">I", files["png2"][16:20]) == (1920,)
                assert b"<script" not in files["html"]
            drawn.add(name)
            words = files["txt"].decode()
            assert re.search(r"\d", words.split("\n\n")[0]), (path, name, words)
            assert len(files["csv"].decode().splitlines()) > 1, (path, name)
            described = "".join(ElementTree.fromstring(files["svg"]).itertext())
            assert words.split("\n\n")[0] in described, (path, name)
    chosen = _get(served_bench, "/charts/frontier.png?width_px=777")[1]
    assert struct.unpack(">I", chosen[16:20]) == (777,)
    assert moving
    assert len(done) >= len(NAMED)


def test_the_panels_open_and_every_chart_is_drawn(browse, served_bench, chart_pages: dict[str, Page]):
    kinds = {}
    for path, page in chart_pages.items():
        if page.figures and not _is_only_a_look_ahead(path):
            kinds.setdefault((_kind(path), frozenset(_charts_of(page))), path)
    page = browse("/")
    for path in kinds.values():
        page.goto(served_bench.address + path)
        areas = page.locator("[data-figure-url]")
        for number in range(areas.count()):
            page.locator("[data-figure-url][data-state=drawn]").nth(number).wait_for(state="attached")
        assert areas.count() > 0
        panels = page.locator("details.downloads:has(a[href*='/charts/'])")
        assert panels.count() >= len(_charts_of(chart_pages[path])), path
        panels.first.locator("summary").press("Enter")
        assert panels.first.get_by_role("link", name="SVG image", exact=True).is_visible()


def test_the_house_style_is_set_once_and_is_in_every_picture(served_bench, browse):
    page = browse("/bench")
    names = {"publication": "The Evening Lamp", "publication_ink": "#123a5c"}
    before = {name: page.locator(f"[name={name}]").input_value() for name in names}
    _set(page, names)
    try:
        for name, query in (("ranking", ""), ("price-history", "?unit=1"), ("frontier", ""), ("cost-bars", "")):
            assert b"#123a5c" in _get(served_bench, f"/charts/{name}.svg{query}")[1], name
            assert "The Evening Lamp" in _get(served_bench, f"/charts/{name}.html{query}")[1].decode(), name
    finally:
        _set(browse("/bench"), before)


def _set(page, values: dict[str, str]) -> None:
    for name, value in values.items():
        page.locator(f"[name={name}]").fill(value)
    page.locator("main form[method=post] button[type=submit]").first.click()
    page.wait_for_load_state("load")
