"""A served bench and a headless Chromium that reports every console error and every external request."""

import os
import shutil
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import pytest

from tests.faults.real_process import served
from tests.sample_data.local_access import local_cookie

# The browser without a window of its own does the same pages for half the processor time.
CHROMIUM = shutil.which("chromium-headless-shell") or shutil.which("chromium")
FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--process-per-site",  # a page that is opened while another is open takes its process and what that has compiled
    "--js-flags=--always-sparkplug --no-maglev --no-turbofan",  # no page stays long enough for costly compilers to pay
]


@dataclass
class ServedBench:
    address: str
    data_folder: Path

    @property
    def cookies(self) -> list[dict[str, str]]:
        """For the context of a browser: what the printed link would have set, without using the link up."""
        return [
            {"name": name, "value": value, "url": self.address, "httpOnly": True, "sameSite": "Strict"}
            for name, value in local_cookie(self.data_folder).items()
        ]


@pytest.fixture(scope="session")
def served_bench(demo_template: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[ServedBench]:
    folder = tmp_path_factory.mktemp("served_bench")
    shutil.copyfile(demo_template, folder / "bench.sqlite")
    with served(folder) as server:
        yield ServedBench(server.url, folder)


@pytest.fixture(scope="session")
def chromium():
    if CHROMIUM is None:
        if os.environ.get("CI"):
            pytest.fail("Chromium is not installed, and the browser tests must run in CI. Install Debian's chromium.")
        pytest.skip("Chromium is not installed; the browser tests need it.")
    from playwright.sync_api import sync_playwright

    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        yield browser
        browser.close()


@dataclass
class Watch:
    """What the browser complained of and where it tried to go."""

    address: str
    console_errors: list[str] = field(default_factory=list)
    outside_requests: list[str] = field(default_factory=list)

    def on(self, page) -> None:
        page.on("console", lambda m: self.console_errors.append(m.text) if m.type == "error" else None)
        page.on("pageerror", lambda error: self.console_errors.append(str(error)))
        page.on("request", self._request)

    def _request(self, request) -> None:
        parts = urlsplit(request.url)
        if parts.scheme in {"http", "https", "ws", "wss"} and f"{parts.scheme}://{parts.netloc}" != self.address:
            self.outside_requests.append(request.url)

    def assert_quiet(self) -> None:
        # A refused form answers 422 on purpose, and Chromium writes each such answer to its console.
        assert [error for error in self.console_errors if "status of 422" not in error] == []
        assert self.outside_requests == []


@pytest.fixture(scope="session")
def tab(chromium, served_bench):
    """A reader of the served bench with one tab, which all tests use in turn: what the browser has fetched and compiled
    stays, which halves the processor time of a page."""
    context = chromium.new_context()
    opened = Tab(context, Watch(served_bench.address), context.new_page())
    opened.watch.on(opened.page)
    yield opened
    context.close()


@dataclass
class Tab:
    context: Any
    watch: Watch
    page: Any

    def new_test(self, cookies: list[dict[str, str]]) -> None:
        """Nothing is left of the test before: no cookie, nothing stored, no complaint."""
        self.page.goto(f"{self.watch.address}/static/mark.svg")
        self.page.evaluate("localStorage.clear(); sessionStorage.clear()")
        self.page.emulate_media(media="null")
        self.context.clear_cookies()
        self.context.add_cookies(cookies)
        self.watch.console_errors.clear()
        self.watch.outside_requests.clear()


@pytest.fixture
def browse(tab, served_bench):
    """A function that opens a page of the served bench, further ones in tabs of their own; at the end nothing may have
    complained or left the machine. A test that listens to its page asks for a new one."""
    tab.new_test(served_bench.cookies)
    opened = []

    def open_page(path: str, *, width: int = 1280, height: int = 900, scheme: str = "light", new: bool = False):
        page = tab.page
        if new or opened:
            page = tab.context.new_page()
            tab.watch.on(page)
        opened.append(page)
        page.set_viewport_size({"width": width, "height": height})
        page.emulate_media(color_scheme=scheme)
        page.set_default_timeout(15_000)
        page.goto(served_bench.address + path, wait_until="load")
        return page

    yield open_page
    for page in opened:
        if page is not tab.page:
            page.close()
    tab.watch.assert_quiet()


@pytest.fixture
def without_script(chromium, served_bench):
    """A function that opens a page of the served bench in a browser that runs no script."""
    context = chromium.new_context(viewport={"width": 1280, "height": 900}, java_script_enabled=False)
    context.add_cookies(served_bench.cookies)
    page = context.new_page()
    page.set_default_timeout(15_000)
    yield lambda path: page.goto(served_bench.address + path) and page
    context.close()


@pytest.fixture(scope="session")
def keep_picture() -> Callable[..., None]:
    """A function that keeps a picture of a page where the environment names a folder for it; drawing one takes longer
    than all else that most tests do with their page."""
    folder = os.environ.get("HAZEFALL_SCREENSHOTS")

    def keep(page, name: str) -> None:
        if folder:
            page.screenshot(path=Path(folder) / f"{name}.png", full_page=True)

    return keep
