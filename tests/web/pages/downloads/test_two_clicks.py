"""From any measured number, two clicks lead to a trial with its raw file and hash, marks, empty-room runs and method.

The numbers are drawn by lot from the tables of the pages and of the published site; the links are followed as they
stand. A number is traced through the links of its own row; a row without links through those of its page.
"""

import hashlib
import random
import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from html.parser import HTMLParser
from pathlib import Path
from urllib.parse import urljoin, urlsplit

from app.settings import Settings
from app.web.application import make_app
from tests.sample_data.local_access import local_browser

NUMBERS = 30
# columns of a table that hold what a trial measured
_MEASURED = re.compile(r"clean air|decay|air changes|less smoke|95\s*% reduction|time to clear|clear", re.IGNORECASE)
_TRIAL = re.compile(r"/trials/(\d+)(\.html)?$")


@dataclass
class Row:
    """A row of a table: texts of its cells, and their links."""

    cells: list[str] = field(default_factory=list)
    links: list[str] = field(default_factory=list)


class Tables(HTMLParser):
    """Rows of the tables inside `main` with the heads of their columns, and all links there."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.tables: list[tuple[list[str], list[Row]]] = []
        self.links: list[str] = []
        self._inside = self._in_cell = self._in_head = False
        self._spans = 1
        self.feed(html)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        found = dict(attrs)
        self._inside |= tag == "main"
        if tag == "table":
            self.tables.append(([], []))
        if self.tables and tag in ("thead", "tbody"):
            self._in_head = tag == "thead"
        if self.tables and tag == "tr" and not self._in_head:
            self.tables[-1][1].append(Row())
        if tag in ("td", "th") and self.tables:
            self._in_cell, self._spans = True, int(found.get("colspan") or 1)
            self._here().extend([""] * self._spans)
        if tag == "a" and self._inside and (href := found.get("href")):
            self.links.append(href)
            if self._in_cell and not self._in_head:
                self.tables[-1][1][-1].links.append(href)

    def handle_endtag(self, tag: str) -> None:
        self._in_cell &= tag not in ("td", "th")
        self._inside &= tag != "main"

    def handle_data(self, data: str) -> None:
        if self._in_cell and self._here():
            self._here()[-self._spans] += data

    def _here(self) -> list[str]:
        heads, rows = self.tables[-1]
        return heads if self._in_head or not rows else rows[-1].cells


Fetch = Callable[[str], str]


def measured_numbers(address: str, html: str) -> Iterator[tuple[str, str, list[str]]]:
    """Head of the column, the number, and the addresses of the first click."""
    page = Tables(html)
    for heads, rows in page.tables:
        for row in rows:
            for head, cell in zip(heads, row.cells, strict=False):
                if _MEASURED.search(head) and re.search(r"\d", cell):
                    yield (
                        " ".join(head.split()),
                        cell.strip(),
                        [urljoin(address, one) for one in row.links or page.links],
                    )


def trial_within(clicks: int, addresses: list[str], fetch: Fetch) -> str:
    """The first trial's page that so many clicks lead to; "" where none does."""
    known = [one for one in dict.fromkeys(addresses) if one.startswith("/") and not one.startswith("//")]
    for address in known:
        if _TRIAL.search(urlsplit(address).path):
            return address
    if clicks > 1:
        for address in known:
            html = fetch(address)
            if found := trial_within(clicks - 1, [urljoin(address, one) for one in Tables(html).links], fetch):
                return found
    return ""


def lacking(address: str, fetch: Fetch, has_raw_file: Callable[[str, str], bool]) -> list[str]:
    """What a trial's page does not say of where its numbers come from."""
    html = fetch(address)
    absent = []
    digest = re.search(r"\b[0-9a-f]{64}\b", re.sub(r"<[^>]+>", " ", html))
    if digest is None:
        absent.append("hash")
    raw = [one for one in Tables(html).links if re.search(r"/log$|/raw/", one)]
    if not raw or digest is None or not has_raw_file(urljoin(address, raw[0]), digest[0]):
        absent.append("raw file with that hash")
    words = re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", html))
    absent += [name for name in ("Unit on", "Fit window") if name not in words and "empty room" not in words]
    others = {m[1] for one in Tables(html).links if (m := _TRIAL.search(urlsplit(urljoin(address, one)).path))}
    own = _TRIAL.search(urlsplit(address).path)
    if "Empty-room runs" not in words or not (others - {own[1] if own else ""} or "none" in words):
        absent.append("empty-room runs")
    if not re.search(r"version \d+\.\d+", words):
        absent.append("method version")
    return absent


def drawn_by_lot(pages: dict[str, str]) -> list[tuple[str, str, str, list[str]]]:
    found = [(address, *entry) for address, html in sorted(pages.items()) for entry in measured_numbers(address, html)]
    assert len(found) > 3 * NUMBERS
    return random.Random(20261125).sample(found, NUMBERS)


def check(pages: dict[str, str], fetch: Fetch, has_raw_file: Callable[[str, str], bool]) -> None:
    bad = {}
    for address, head, number, links in drawn_by_lot(pages):
        trial = address if _TRIAL.search(urlsplit(address).path) else trial_within(2, links, fetch)
        absent = lacking(trial, fetch, has_raw_file) if trial else ["a trial within two clicks"]
        if absent:
            bad[address, head, number] = (trial, absent)
    assert bad == {}


def test_two_clicks_from_any_number_of_a_page(demo_settings: Settings):
    with local_browser(make_app(demo_settings), demo_settings) as client:
        kept: dict[str, str] = {}

        def fetch(address: str) -> str:
            if address not in kept:
                answer = client.get(address)
                is_page = answer.headers.get("content-type", "").startswith("text/html")
                kept[address] = answer.text if answer.status_code == 200 and is_page else ""
            return kept[address]

        def has_raw_file(address: str, digest: str) -> bool:
            return hashlib.sha256(client.get(address).content).hexdigest() == digest

        units = sorted({one for one in Tables(fetch("/")).links if re.fullmatch(r"/units/\d+", one)})
        some = [f"unit_id={one.rpartition('/')[2]}" for one in units[:4]]
        addresses = ["/", "/?setting=every", "/ranking/order", f"/compare?{'&'.join(some)}", *units]
        addresses += [one for one in Tables(fetch("/trials")).links if re.fullmatch(r"/trials/\d+", one)][:6]
        check({address: fetch(address) for address in addresses}, fetch, has_raw_file)


def test_two_clicks_from_any_number_of_the_published_site(demo_site: Path):
    def fetch(address: str) -> str:
        path = demo_site / urlsplit(address).path.lstrip("/")
        return path.read_text() if path.suffix == ".html" and path.is_file() else ""

    def has_raw_file(address: str, digest: str) -> bool:
        path = demo_site / urlsplit(address).path.lstrip("/")
        return path.is_file() and hashlib.sha256(path.read_bytes()).hexdigest() == digest

    pages = {f"/{path.relative_to(demo_site)}": path.read_text() for path in demo_site.rglob("*.html")}
    check(pages, fetch, has_raw_file)
