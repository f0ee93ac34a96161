"""Largest contentful paint of every page of the demonstration bench in Chromium, on loopback, at two widths.

Each page is opened in a fresh browser context, so that nothing comes from a cache, after one visit that warms the
server as any earlier reader does. The largest contentful paint is what the browser reports (W3C, Largest Contentful
Paint), the least and the median of five visits: other load of the machine only adds, and is printed. The aim is below
500 ms on a machine that does nothing else.

`python -m tests.bench.largest_paint_bench` serves a whole demonstration bench, `--store FILE` a copy of another store,
and `--large` 1,000 units with 10,000 trials, of which it measures the pages that show all of them.
"""

import argparse
import os
import shutil
import statistics
import tempfile
import urllib.request
from collections.abc import Sequence
from pathlib import Path

from playwright.sync_api import Browser, sync_playwright

from tests.bench.scale.large_bench import make_large_store
from tests.bench.scale.scale_addresses import filled, ids_of, measured_addresses
from tests.faults.real_process import served
from tests.sample_data.local_access import local_script
from tests.sample_data.made_once import make_demo_store
from tests.web.browser.conftest import CHROMIUM, FLAGS, ServedBench

AIM_MS = 500
VISITS = 5
WIDTHS = (1280, 390)
OF_ALL_UNITS = ("/", "/ranking/pictures", "/ranking/order", "/curves", "/costs", "/compare", "/units", "/trials")
_LARGEST_PAINT = """
() => new Promise((done) => {
  let largest = 0;
  new PerformanceObserver((list) => list.getEntries().forEach((entry) => { largest = entry.startTime; }))
    .observe({ type: "largest-contentful-paint", buffered: true });
  setTimeout(() => done(largest), 100);
})
"""


def largest_paint_ms(browser: Browser, bench: ServedBench, path: str, width: int) -> float:
    """Of one visit, without a cache."""
    context = browser.new_context(viewport={"width": width, "height": 900})
    context.add_cookies(bench.cookies)
    page = context.new_page()
    page.goto(bench.address + path, wait_until="networkidle")
    paint = float(page.evaluate(_LARGEST_PAINT))
    context.close()
    return paint


def pages_of(bench: ServedBench) -> list[str]:
    """The addresses that answer with a page, each asked once."""
    found = []
    for address in measured_addresses():
        path = filled(address, ids_of(bench.data_folder / "bench.sqlite"))
        request = urllib.request.Request(bench.address + path, headers=local_script(bench.data_folder))
        with urllib.request.urlopen(request) as answer:
            if answer.headers.get_content_type() == "text/html":
                found.append(path)
    return found


def print_table(bench: ServedBench, paths: Sequence[str]) -> None:
    print(f"load of the machine {os.getloadavg()[0]:.1f}; least (median) of {VISITS} visits, aim below {AIM_MS} ms")
    print(f"{'page':<42}" + "".join(f"{f'{width} px':>18}" for width in WIDTHS))
    with sync_playwright() as started:
        browser = started.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        for path in paths:
            paints = [[largest_paint_ms(browser, bench, path, width) for _ in range(VISITS)] for width in WIDTHS]
            words = [f"{min(visits):.0f} ({statistics.median(visits):.0f}) ms" for visits in paints]
            above = "  above" if max(map(min, paints)) >= AIM_MS else ""
            print(f"{path:<42}" + "".join(f"{each:>18}" for each in words) + above, flush=True)
        browser.close()


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--store", type=Path, help="a store to copy and serve, instead of a new demonstration bench")
    parser.add_argument("--large", action="store_true", help="serve 1,000 units instead")
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        if asked.large:
            make_large_store(folder / "bench.sqlite")
        elif asked.store is None:
            make_demo_store(folder, small=False)
        else:
            shutil.copyfile(asked.store, folder / "bench.sqlite")
        with served(folder) as server:
            bench = ServedBench(server.url, folder)
            print_table(bench, OF_ALL_UNITS if asked.large else pages_of(bench))


if __name__ == "__main__":
    main()
