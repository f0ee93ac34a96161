"""A large bench against the demo bench, page by page: `python -m tests.bench.scale`.

Makes a bench of 1,000 units, 10,000 trials and 50 million readings (not kept), and the demo bench, serves both, each
with a server of its own, and asks both for every page in turn, with the data of its drawings.

- p95 of each address on the large bench over p95 on the demo bench: by the clock, and by the processor time that the
  server took, which other programs on the machine change less. Twice: on a store that stays as it is, and with a
  commit before each request, so that nothing kept in memory holds any more.
- The size of the store over that of a plain table with a row a time and a column a channel.
- The memory of the server after all of that.
"""

import argparse
import sqlite3
import tempfile
from collections.abc import Iterator
from contextlib import ExitStack, closing
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from rich.console import Console
from rich.progress import Progress

from app.services.store.open import open_store
from app.settings import Settings
from seed_demo.build import build_demo
from tests.bench.scale.large_bench import READING_CHANNELS, make_large_store
from tests.bench.scale.scale_addresses import figure_addresses, filled, ids_of, measured_addresses
from tests.bench.scale.served_bench import ServedBench, served

UNITS, TRIALS, READINGS_PER_TRIAL = 1000, 10_000, 1000
MOST_TIMES, MOST_SIZE, MOST_MEMORY_MB = 3.0, 1.3, 400.0
STORE = "bench.sqlite"


@dataclass(frozen=True, slots=True)
class Figures:
    """p95 of one address on one bench [ms], on a store that stays and with a commit before each request."""

    clock_ms: float
    processor_ms: float
    clock_after_commit_ms: float
    processor_after_commit_ms: float


@dataclass(frozen=True, slots=True)
class Compared:
    """One address on both benches."""

    address: str
    demo: Figures
    large: Figures

    @property
    def by_clock(self) -> float:
        return self.large.clock_ms / self.demo.clock_ms

    @property
    def by_processor(self) -> float:
        return self.large.processor_ms / self.demo.processor_ms

    @property
    def after_commit(self) -> float:
        return self.large.processor_after_commit_ms / self.demo.processor_after_commit_ms


@dataclass(frozen=True, slots=True)
class Sizes:
    """Bytes of the store, of the same after it was packed, and of plain tables with the same readings."""

    store: int
    packed: int
    plain: int
    plain_with_key: int


class Side:
    """One bench with its server, its ids and its drawings."""

    def __init__(self, folder: Path, server: ServedBench) -> None:
        self.store = folder / STORE
        self.server = server
        self._ids = ids_of(self.store)
        self._commits = 0

    def address(self, route: str) -> str:
        return filled(route, self._ids)

    def commit(self) -> None:
        """A price of another unit each time moves by one, as when somebody notes a new one."""
        self._commits += 1
        with closing(sqlite3.connect(self.store, timeout=15)) as connection:
            (prices,) = connection.execute("SELECT count(*) FROM prices").fetchone()
            connection.execute(
                "UPDATE prices SET amount = amount + 1 WHERE id = (SELECT id FROM prices ORDER BY id LIMIT 1 OFFSET ?)",
                (self._commits % prices,),
            )
            connection.commit()

    def figures(self, address: str, rounds: int) -> Figures:
        """Untimed once, so that what is loaded at the first use is there."""
        self.server.get(address)
        stays = [self.server.get(address) for _ in range(rounds)]
        moved = []
        for _ in range(max(rounds // 2, 3)):
            self.commit()
            moved.append(self.server.get(address))
        return Figures(
            *(_p95([taken.clock_ms for taken in stays]), _p95([taken.processor_ms for taken in stays])),
            *(_p95([taken.clock_ms for taken in moved]), _p95([taken.processor_ms for taken in moved])),
        )


def _p95(times: list[float]) -> float:
    return float(np.percentile(times, 95))


def compare_pages(demo: Side, large: Side, rounds: int, only: str = "") -> Iterator[Compared]:
    """Every address on both benches; the data of a page's drawings follow the page, as many as both have."""
    for route in measured_addresses():
        if only and only not in route:
            continue
        yield _compared(route, demo, large, demo.address(route), large.address(route), rounds)
        if route.startswith("/api/"):
            continue
        drawings = (figure_addresses(side.server.get(side.address(route)).answer.text) for side in (demo, large))
        for number, (of_demo, of_large) in enumerate(zip(*drawings, strict=False), start=1):
            yield _compared(f"{route}  drawing {number}", demo, large, of_demo, of_large, rounds)


def _compared(name: str, demo: Side, large: Side, of_demo: str, of_large: str, rounds: int) -> Compared:
    return Compared(name, demo.figures(of_demo, rounds), large.figures(of_large, rounds))


def sizes(store: Path, folder: Path) -> Sizes:
    """Plain tables with the same readings beside the store: as bare as can be, and with the key that finds a log."""
    columns = ", ".join(f"{name} REAL" for name in READING_CHANNELS)
    values = ", ".join(f"value_{number:02d}" for number in range(1, len(READING_CHANNELS) + 1))
    with closing(sqlite3.connect(store)) as connection:
        connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        connection.execute("VACUUM INTO ?", (str(folder / "packed"),))
        for name, head, key in (
            ("plain", "log_id INTEGER, elapsed_s REAL", ""),
            ("keyed", "log_id INTEGER, row INTEGER, elapsed_s REAL", "PRIMARY KEY (log_id, row)"),
        ):
            connection.execute("ATTACH ? AS beside", (str(folder / name),))
            ending = f", {key}) WITHOUT ROWID" if key else ")"
            connection.execute(f"CREATE TABLE beside.readings_of_all ({head}, {columns}{ending}")
            row = "r.id - l.first_reading, " if key else ""
            connection.execute(
                f"INSERT INTO beside.readings_of_all SELECT l.id, {row}elapsed_s, {values} FROM main.logs l "
                "CROSS JOIN main.readings r ON r.id >= l.first_reading AND r.id < l.first_reading + l.readings"
            )
            connection.commit()
            connection.execute("DETACH beside")
    found = [path.stat().st_size for path in (store, folder / "packed", folder / "plain", folder / "keyed")]
    for name in ("packed", "plain", "keyed"):
        (folder / name).unlink()
    return Sizes(*found)


def table_lines(compared: list[Compared]) -> Iterator[str]:
    """One line an address, in columns."""
    yield (
        f"{'address':<58}{'demo p95':>10}{'large p95':>11}{'by clock':>10}{'by processor':>14}{'after a commit':>16}"
    )
    for one in compared:
        marked = "  above" if max(one.by_clock, one.by_processor, one.after_commit) > MOST_TIMES else ""
        yield (
            f"{one.address:<58}{one.demo.clock_ms:>7.1f} ms{one.large.clock_ms:>8.1f} ms{one.by_clock:>9.2f}×"
            f"{one.by_processor:>13.2f}×{one.after_commit:>15.2f}×{marked}"
        )
    above = [sum(ratio(one) > MOST_TIMES for one in compared) for ratio in (_by_clock, _by_processor, _after_commit)]
    yield (
        f"Of {len(compared)} addresses above {MOST_TIMES:g}×: {above[0]} by the clock, {above[1]} by processor time, "
        f"{above[2]} by processor time after a commit."
    )


def _by_clock(one: Compared) -> float:
    return one.by_clock


def _by_processor(one: Compared) -> float:
    return one.by_processor


def _after_commit(one: Compared) -> float:
    return one.after_commit


def size_words(found: Sizes) -> str:
    return (
        f"Store: {found.store / 1e6:.0f} MB, {found.store / found.plain_with_key:.2f}× a plain wide table with the key "
        f"that finds the readings of a log, {found.store / found.plain:.2f}× the same without any key (packed by "
        f"VACUUM: {found.packed / found.plain_with_key:.2f}× and {found.packed / found.plain:.2f}×); at most "
        f"{MOST_SIZE:g}×. The raw files of a generated bench are a line each."
    )


def memory_words(now_mb: float, highest_mb: float) -> str:
    return (
        f"Memory of the server after all of that: {now_mb:.0f} MB, at its highest {highest_mb:.0f} MB; at most "
        f"{MOST_MEMORY_MB:.0f} MB."
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--units", type=int, default=UNITS)
    parser.add_argument("--trials", type=int, default=TRIALS)
    parser.add_argument("--readings-per-trial", type=int, default=READINGS_PER_TRIAL, help="times of five channels")
    parser.add_argument("--rounds", type=int, default=20, help="requests of each address on each bench")
    parser.add_argument("--only", default="", help="only addresses that hold this text")
    parser.add_argument("--folder", type=Path, help="keeps both benches there, for a later run")
    choices = parser.parse_args()
    with ExitStack() as stack:
        folder = choices.folder or Path(stack.enter_context(tempfile.TemporaryDirectory()))
        progress = stack.enter_context(Progress(console=Console(stderr=True), transient=True))
        task = progress.add_task("Making the benches", total=None)
        demo_folder, large_folder = folder / "demo", folder / "large"
        if not (demo_folder / STORE).exists():
            demo_folder.mkdir(parents=True, exist_ok=True)
            engine = open_store(Settings(demo_folder))
            build_demo(engine)
            engine.dispose()
        if not (large_folder / STORE).exists():
            large_folder.mkdir(parents=True, exist_ok=True)
            make_large_store(large_folder / STORE, choices.units, choices.trials, choices.readings_per_trial)
        found = []
        with served(demo_folder) as demo, served(large_folder) as large:
            first_mb, _ = large.memory_mb()
            sides = Side(demo_folder, demo), Side(large_folder, large)
            for one in compare_pages(*sides, choices.rounds, choices.only):
                found.append(one)
                progress.update(task, description=one.address)
            memory = large.memory_mb()
        progress.update(task, description="Sizes")
        size = sizes(large_folder / STORE, folder)
    print(
        f"{choices.units} units, {choices.trials} trials, "
        f"{choices.trials * choices.readings_per_trial * len(READING_CHANNELS) / 1e6:g} million readings, against the "
        f"demo bench; {choices.rounds} requests each\n"
    )
    print("\n".join(table_lines(found)))
    print(f"\n{size_words(size)}\n{memory_words(*memory)} ({first_mb:.0f} MB when it had started)")


if __name__ == "__main__":
    main()
