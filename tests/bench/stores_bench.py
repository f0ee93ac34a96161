"""One bench behind four servers: SQLite and PostgreSQL, one process and two: `python -m tests.bench.stores_bench`.

Needs HAZEFALL_TEST_POSTGRESQL. Readers and writers are real HTTP clients on loopback. Every figure is printed beside
its ratio to the first server of the same run: the machine, its load and the clients' own work are then in both.
"""

import os
import shutil
import signal
import subprocess
import sys
import tempfile
import threading
import time
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import httpx
import numpy as np
from rich.console import Console
from rich.table import Table

from app.services.store.copy import copy_store
from app.services.store.open import open_store
from app.settings import Settings
from seed_demo.build import build_demo
from tests.conftest import POSTGRESQL, decay_log, new_database

READERS, WRITERS = 6, 3
PAGES = ("/", "/units/2", "/trials/5", "/api/ranking", "/curves?unit=2&unit=3")


@dataclass(frozen=True, slots=True)
class Served:
    """Requests a second and the slowest twentieth [s]: of readers alone, and of readers and writers together."""

    name: str
    pages_per_s: float
    p95_s: float
    pages_per_s_while_written: float
    p95_while_written_s: float
    trials_per_s: float
    errors: int


def measure(name: str, arguments: list[str], seconds: float, first_seed: int) -> Served:
    command = [sys.executable, "-m", "app.command_line.main", "serve", "--port", "0", *arguments]
    server = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
    try:
        assert server.stdout is not None
        server.stdout.readline()
        link = server.stdout.readline().split()[1]
        cookies = httpx.get(link, timeout=120).cookies
        url = "/".join(link.split("/")[:3])
        _load(url, cookies, 3.0, 0, first_seed)  # everything that is imported or compiled once
        alone = _load(url, cookies, seconds, 0, first_seed)
        both = _load(url, cookies, seconds, WRITERS, first_seed)
    finally:
        server.send_signal(signal.SIGINT)
        server.wait(60)
    return Served(name, *alone[:2], *both[:2], both[2], alone[3] + both[3])


def _load(
    url: str, cookies: httpx.Cookies, seconds: float, writers: int, first_seed: int
) -> tuple[float, float, float, int]:
    until, times, errors, written = time.perf_counter() + seconds, [], [], []
    lock, seeds = threading.Lock(), iter(range(first_seed, first_seed + 100_000))

    def read(number: int) -> None:
        with httpx.Client(base_url=url, cookies=cookies, timeout=120) as client:
            while time.perf_counter() < until:
                begun = time.perf_counter()
                status = client.get(PAGES[(number + len(times)) % len(PAGES)]).status_code
                times.append(time.perf_counter() - begun)
                if status >= 500:
                    errors.append(status)

    def write(_: int) -> None:
        fields = {"unit_under_test_id": 2, "room_id": 1, "tested_by": "script"}
        with httpx.Client(base_url=url, cookies=cookies, timeout=120) as client:
            fields["setting_id"] = client.get("/api/units/2").json()["settings"][0]["id"]
            while time.perf_counter() < until:
                with lock:
                    seed = next(seeds)
                log = decay_log(5.0, minutes=60, seed=seed, channels=("PM2.5 [µg/m³]",), shares=(1.0,))
                status = client.post("/api/trials", files={"log": ("run.csv", log)}, data=fields).status_code
                (written if status == 201 else errors).append(status)

    with ThreadPoolExecutor(READERS + WRITERS) as pool:
        tasks = [pool.submit(read, n) for n in range(READERS)] + [pool.submit(write, n) for n in range(writers)]
        for task in tasks:
            task.result()
    return len(times) / seconds, float(np.quantile(times, 0.95)), len(written) / seconds, len(errors)


def main(seconds: float = 8.0) -> None:
    if not POSTGRESQL:
        sys.exit("Name a PostgreSQL server in HAZEFALL_TEST_POSTGRESQL; it is compared with SQLite.")
    found: list[Served] = []
    with tempfile.TemporaryDirectory() as name:
        demo = Path(name) / "demo"
        engine = open_store(Settings(demo))
        build_demo(engine)
        engine.dispose()
        for number, workers in enumerate((1, 2)):
            copy = Path(name) / f"sqlite{workers}"
            shutil.copytree(demo, copy)
            told = ["--data", str(copy), "--workers", str(workers)]
            found.append(measure(f"SQLite, {workers} process(es)", told, seconds, 1000 + 100_000 * number))
        for number, workers in enumerate((1, 2), start=2):
            with new_database() as url:
                copy_store(str(demo), url)
                told = ["--data", str(Path(name) / "d"), "--database", url, "--workers", str(workers)]
                found.append(measure(f"PostgreSQL, {workers} process(es)", told, seconds, 1000 + 100_000 * number))
    Console(width=140).print(table_of(found, os.cpu_count() or 1))


def table_of(found: list[Served], cores: int) -> Table:
    title = f"{READERS} readers, then with {WRITERS} writers of trials too; {cores} cores; ratios to the first line"
    table = Table(
        "server", "pages/s", "p95", "pages/s while written", "p95 while written", "trials/s", "errors", title=title
    )
    first = found[0]
    for one in found:
        cells = [one.name]
        for field, unit in (
            ("pages_per_s", ""),
            ("p95_s", " s"),
            ("pages_per_s_while_written", ""),
            ("p95_while_written_s", " s"),
            ("trials_per_s", ""),
        ):
            value, base = getattr(one, field), getattr(first, field)
            shown = f"{value:.3g}{unit}"
            cells.append(shown if one is first else f"{shown} ({value / base:.2f}×)")
        table.add_row(*cells, str(one.errors))
    return table


if __name__ == "__main__":
    main(*(float(word) for word in sys.argv[1:2]))
