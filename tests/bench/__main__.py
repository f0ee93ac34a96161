"""Every speed measurement in one run, as ratios to the same work by hand: `python -m tests.bench`.

Prints one table. The exit status does not depend on the ratios, because a busy machine changes them.
"""

import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from rich.console import Console
from rich.progress import Progress
from rich.table import Table

from tests.bench import (
    decay_bench,
    demo_bench,
    first_page_bench,
    first_ranking_bench,
    import_bench,
    publish_bench,
    ranking_bench,
    recompute_bench,
)
from tests.bench.ranking_bench import Kept, ranking_ratio
from tests.bench.scale.large_bench import make_large_store
from tests.bench.scale.served_memory import ServedMemory, served_memory

STEPS = 13


@dataclass(frozen=True, slots=True)
class Measured:
    """One measurement: what was compared with what, the ratio, and the most that it should be."""

    what: str
    against: str
    ratio: float
    limit: float

    @property
    def held(self) -> bool:
        return self.ratio <= self.limit


def measure(large: Path) -> Iterator[Measured]:
    """All measurements, one after the other; `large` is a store of 1,000 units and 10,000 trials."""
    by_hand = "pandas.read_csv and a raw SQLite insert"
    yield Measured("Import of 10,800 rows × 8 channels with analysis", by_hand, import_bench.ratio(), import_bench.AIM)
    fit = decay_bench.decay_fit_ratio()["fit_over_lstsq"]
    yield Measured("Decay fit with interval, 10,800 readings", "numpy.linalg.lstsq", fit, decay_bench.FIT_LIMIT)
    bare = "importing fastapi, sqlalchemy, jinja2"
    yield Measured("From starting Python to the first page", bare, first_page_bench.ratio(), first_page_bench.AIM)
    started = first_ranking_bench.ratio(large)
    yield Measured("First ranking of a started server", "raw SQL and Jinja2", started, first_ranking_bench.AIM)
    for lines in (100, 1000):
        for kept in Kept:
            limit = ranking_bench.AIM_WITH_NOTHING_KEPT if kept is Kept.NOTHING else ranking_bench.AIM
            ratio = ranking_ratio(large, lines, kept)
            yield Measured(f"Ranking, {lines} of 1,000 units, {kept.value}", "raw SQL and Jinja2", ratio, limit)
    times = publish_bench.publish_times()
    yield Measured("Publishing a unit with its trials", "bare drawings", times.per_unit, publish_bench.AIM)
    yield Measured("Publishing it again unchanged", "the first time", times.unchanged, publish_bench.AIM_UNCHANGED)
    trials = recompute_bench.TRIALS
    ratio = recompute_bench.ratios().by_core
    yield Measured(f"Re-analysis of {trials} trials × 10,800 readings", "reading them", ratio, recompute_bench.AIM)


def table_of(measured: list[Measured]) -> Table:
    table = Table("what", "against", "ratio", "limit", "held", title="Times of the same work by hand")
    for one in measured:
        table.add_row(one.what, one.against, f"{one.ratio:.2f}", f"{one.limit:g}", "held" if one.held else "NOT HELD")
    return table


def memory_words(memory: ServedMemory) -> str:
    return (
        f"Resident memory of a server on 1,000 units and 10,000 trials: {memory.first_page_mb:.0f} MB after its first "
        f"page, {memory.afterwards_mb:.0f} MB after all pages and an import (at most {memory.highest_mb:.0f} MB)."
    )


def main() -> None:
    console = Console(width=140)
    with tempfile.TemporaryDirectory() as folder, Progress(console=console, transient=True) as progress:
        task = progress.add_task("Making a store of 1,000 units", total=STEPS)
        large = make_large_store(Path(folder) / "bench.sqlite", ranking_bench.UNITS, ranking_bench.TRIALS).path
        measured = []
        for one in measure(large):
            measured.append(one)
            progress.update(task, advance=1, description=one.what)
        memory = served_memory(Path(folder))
    console.print(table_of(measured))
    console.print(memory_words(memory))
    console.print(demo_bench.demo_times().words)


if __name__ == "__main__":
    main()
