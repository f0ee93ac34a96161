"""One server in mixed use for minutes: do memory, file handles and the store stay as they should?

python -m tests.studies.soak --minutes 30

Readers ask for every kind of page and the data of its charts; writers send logs, move marks and note prices; the whole
bench is analysed again now and then. After a third of it no more logs are sent: those who sent them put trials in the
trash and take them back, and all else goes on. So what belongs to a bench that grows is told apart from what is left
behind by use. Prints what the server took. An AssertionError tells what grew, what was lost and what was answered with
an error.
"""

import argparse
import math
import statistics
import subprocess
import tempfile
import time
from collections.abc import Sequence
from dataclasses import astuple, dataclass, field
from pathlib import Path

from app.services.bench.definitions import NewLogger, NewSmokeSource, NewTariff
from app.services.bench.loggers import add_logger
from app.services.bench.smoke_sources import add_smoke_source
from app.services.bench.tariffs import add_tariff
from app.services.store.open import open_store
from app.settings import Settings
from app.storage.engine import session_scope
from app.storage.models.bench import Bench
from tests.bench.scale.scale_addresses import figure_addresses, filled, ids_of, measured_addresses
from tests.conftest import NOW
from tests.faults.concurrent_use import Answered, Crowd, missing_prices
from tests.faults.killing.kills import filled_bench, none
from tests.faults.real_process import Served, served, start_command
from tests.faults.resource_use import (
    WARM_UP_SHARE,
    Limits,
    Sample,
    after_warm_up,
    first_and_last,
    growth_beyond,
    slope_mb_per_h,
    take_sample,
)
from tests.faults.whole_store import ask, faults_of, lost_marks, missing_trials

SAMPLE_EVERY_S = 3.0
ANALYSE_AGAIN_EVERY_S = 120.0
OVERTAKEN = "A trial has changed since the re-analysis"
# Raw bytes, readings, results and the record of changes: what a log takes in the store, against its own bytes.
STORE_PER_LOG_BYTE = (1.0, 4.0)
# Of a bench that stays as large: 10 MB in twenty minutes. A leak of 1 kB with each of 20 requests a second is 72.
LIMITS = Limits(memory_slope_mb_per_h=30.0)
# While the bench grows: what a server keeps of it in memory (pages of the store, lines of lists) is at most as much as
# the bench itself takes in the store.
MEMORY_PER_STORE_BYTE = 1.0
GROWING_SHARE = 1 / 3  # of the run
_TAKEN = ("/charts/ranking.svg", "/charts/ranking.csv", "/charts/decay-overlay.png", "/tables/ranking.csv")


@dataclass
class Soak:
    """A bounded run and what was seen in it.

    growing, steady : the use while logs are sent, and after that; steady_from_s : of the samples' time
    sent_then : logs that were acknowledged when each of the samples was taken
    """

    growing: Crowd
    steady: Crowd
    addresses: int
    steady_from_s: float = 0.0
    samples: list[Sample] = field(default_factory=list)
    sent_then: list[int] = field(default_factory=list)
    analysed_again: int = 0
    overtaken: int = 0  # re-analyses that stored nothing, because somebody changed a trial meanwhile
    store_grew_bytes: int = 0  # while logs were sent
    store_grew_after_bytes: int = 0
    faults: list[str] = field(default_factory=list)

    def store_per_log_byte(self) -> float:
        return self.store_grew_bytes / sum(self.growing.log_bytes)

    def store_kb_per_trial(self) -> float:
        return self.store_grew_bytes / 1000 / len(self.growing.trials)

    def memory_kb_per_trial(self) -> float:
        """Least squares line of the memory over the logs sent, after the warm-up of the growing part."""
        begin = WARM_UP_SHARE * self.steady_from_s
        seen = [
            (sent, sample.memory_mb)
            for sent, sample in zip(self.sent_then, self.samples, strict=True)
            if begin <= sample.at_s <= self.steady_from_s
        ]
        if len({sent for sent, _ in seen}) < 2:  # a run of seconds
            return math.nan
        return 1000 * statistics.linear_regression(*zip(*seen, strict=True)).slope

    def steady_samples(self) -> list[Sample]:
        return [sample for sample in self.samples if sample.at_s >= self.steady_from_s]


def soak(
    seconds: float,
    place: Path,
    *,
    sample_every_s: float = SAMPLE_EVERY_S,
    write_pause_s: float = 2.0,
    readers: int = 6,
) -> Soak:
    """Uses a server of its own for so long; the faults found are in the result, in words."""
    folder = place / "bench"
    store = filled_bench(folder, 10)
    _complete(folder)
    with served(folder) as server:
        addresses = _every_address(server, store)
        growing = Crowd(server, readers, 4, 1, addresses=addresses, write_pause_s=write_pause_s)
        steady = Crowd(server, readers, 4, 2, addresses=addresses, write_pause_s=write_pause_s)
        run = Soak(growing, steady, len(addresses))
        look = _Look(run, server, folder, seconds, sample_every_s)
        before = _size_of(store)
        growing.stay(until=lambda: look() >= GROWING_SHARE * seconds and bool(growing.trials or growing.writing.odd))
        run.steady_from_s, full = look(now=True), _size_of(store)
        steady.no_new_logs = sorted(growing.trials)
        steady.stay(
            until=lambda: look() >= seconds and look.again is None and bool(steady.taken_back or steady.writing.odd)
        )
        look(now=True)
        run.store_grew_bytes, run.store_grew_after_bytes = full - before, _size_of(store) - full
        said = server.said()
    for crowd in (growing, steady):
        run.faults += [*crowd.reading.odd, *crowd.writing.odd]
    run.faults += [*faults_of(store), *missing_trials(store, growing.trials)]
    run.faults += lost_marks(store, growing.marks | steady.marks, {})
    prices = [row[0] for row in ask(store, "SELECT amount FROM prices")]
    run.faults += missing_prices(prices, growing.prices + steady.prices)
    if "Traceback" in said:
        run.faults.append(said[-3000:])
    return run


class _Look:
    """Called again and again during the run: takes the samples and has the whole bench analysed again."""

    def __init__(self, run: Soak, server: Served, folder: Path, seconds: float, sample_every_s: float) -> None:
        self.run, self.folder, self.seconds, self.sample_every_s = run, folder, seconds, sample_every_s
        self.process = server.process.pid
        self.begun = time.monotonic()
        self.again: subprocess.Popen[str] | None = None

    def __call__(self, *, now: bool = False) -> float:
        """Seconds of the run. now : a sample is taken whenever the last one was"""
        spent, run = time.monotonic() - self.begun, self.run
        if now or not run.samples or spent - run.samples[-1].at_s >= self.sample_every_s:
            run.samples.append(take_sample(self.process, self.folder / "bench.sqlite", self.begun))
            run.sent_then.append(len(run.growing.trials))
        self._analyse_again(spent)
        return spent

    def _analyse_again(self, spent: float) -> None:
        run = self.run
        if self.again is not None and self.again.poll() is not None:
            said, err = self.again.communicate()
            run.analysed_again += self.again.returncode == 0
            if OVERTAKEN in err:
                run.overtaken += 1
            elif self.again.returncode:
                run.faults.append(f"a re-analysis ended with status {self.again.returncode}: {said}{err}")
            self.again = None
        due = spent // min(ANALYSE_AGAIN_EVERY_S, self.seconds / 2)
        if self.again is None and due > run.analysed_again + run.overtaken and spent < self.seconds:
            self.again = start_command(
                "recompute", "--accept", "--workers", "1", "--data", str(self.folder), "--who", "Ada", "--why", "again"
            )


def _every_address(server: Served, store: Path) -> list[str]:
    """Every page and list, the data of the drawings on them, and files to take away; each is answered once."""
    ids = ids_of(store)
    answered, found = Answered(), []
    with server.client(120) as client:
        for address in [*(filled(one, ids) for one in measured_addresses()), *_TAKEN]:
            page = client.get(address)
            answered.take(page, 0.0)
            found += [address, *figure_addresses(page.text)]
    none(answered.odd)
    return list(dict.fromkeys(found))


def _complete(folder: Path) -> None:
    """What pages beside those of units and trials show: a logger, a smoke source, a price of electricity."""
    engine = open_store(Settings(folder))
    with session_scope(engine) as session:
        add_logger(session, NewLogger(name="Logger 1"))
        add_smoke_source(session, NewSmokeSource(name="Incense", aerosol="smoke"))
        tariff = add_tariff(
            session,
            NewTariff(region="Hillside", price_per_kwh=0.2, currency="USD", valid_from=NOW.date(), source="bill"),
        )
        session.get_one(Bench, 1).tariff_id = tariff
    engine.dispose()


def _size_of(store: Path) -> int:
    """Pages in use, in the file or in the write-ahead log."""
    (pages,), (size,) = ask(store, "PRAGMA page_count")[0], ask(store, "PRAGMA page_size")[0]
    return pages * size


def judged(run: Soak, limits: Limits = LIMITS, memory_per_store_byte: float = MEMORY_PER_STORE_BYTE) -> list[str]:
    """Everything that should not be, in words."""
    found = [*run.faults, *growth_beyond(run.samples, run.steady_samples(), limits)]
    least, most = STORE_PER_LOG_BYTE
    if not least <= run.store_per_log_byte() <= most:
        found.append(
            f"the store grew by {run.store_per_log_byte():.2f} bytes for each byte sent; {least:g} to {most:g} expected"
        )
    kept, limit = run.memory_kb_per_trial(), memory_per_store_byte * run.store_kb_per_trial()
    if kept > limit:
        found.append(f"memory grows by {kept:.0f} kB with each trial; {limit:.0f} kB is the limit")
    return found


def table(run: Soak) -> list[str]:
    settled, growing, steady = after_warm_up(run.samples), run.growing, run.steady
    took = growing.took_s + steady.took_s
    reading = Answered([*growing.reading.seconds, *steady.reading.seconds])
    writing = Answered([*growing.writing.seconds, *steady.writing.seconds])
    prices, sent = len(growing.prices) + len(steady.prices), sum(growing.log_bytes)
    moves = len(writing.seconds) - len(growing.trials) - prices - 2 * steady.taken_back
    errors = sum(len(answered.odd) for crowd in (growing, steady) for answered in (crowd.reading, crowd.writing))
    first, last = run.steady_samples()[0], run.samples[-1]
    return [
        f"run                       {took:.0f} s, {len(run.samples)} samples; no more logs after "
        f"{run.steady_from_s:.0f} s",
        f"read                      {len(reading.seconds)} answers from {run.addresses} addresses, "
        f"{len(reading.seconds) / took:.1f}/s, p95 {1000 * reading.p95_s():.0f} ms",
        f"written                   {len(growing.trials)} logs, {prices} prices, {moves} moves of marks, "
        f"{steady.taken_back} trials to the trash and back; p95 {1000 * writing.p95_s():.0f} ms",
        f"analysed again            {run.analysed_again} times the whole bench; "
        f"{run.overtaken} times refused, because a trial was changed meanwhile",
        f"errors                    {errors}",
        f"memory                    {run.samples[0].memory_mb:.0f} MB at first, {settled[0].memory_mb:.0f} at "
        f"{settled[0].at_s:.0f} s, {first.memory_mb:.0f} with the last log, {last.memory_mb:.0f} at the end, "
        f"{max(sample.memory_mb for sample in run.samples):.0f} at most",
        f"  of it no file           {run.samples[0].anonymous_mb:.0f} MB at first, {first.anonymous_mb:.0f} with the "
        f"last log, {last.anonymous_mb:.0f} at the end, in {max(sample.heaps for sample in run.samples)} heaps at most",
        f"memory, bench growing     {run.memory_kb_per_trial():+.0f} kB with each trial added, after "
        f"{WARM_UP_SHARE * run.steady_from_s:.0f} s (limit {MEMORY_PER_STORE_BYTE * run.store_kb_per_trial():.0f}, "
        "what it takes in the store)",
        f"memory, bench as large    {slope_mb_per_h(run.steady_samples()):+.0f} MB/h "
        f"(limit {LIMITS.memory_slope_mb_per_h:g})",
        f"memory, both together     {slope_mb_per_h(settled):+.0f} MB/h after {settled[0].at_s:.0f} s (not judged)",
        _flat("file handles", [s.handles for s in settled], LIMITS.more_handles),
        _flat("threads", [s.threads for s in settled], LIMITS.more_threads),
        f"write-ahead log           {max(s.log_bytes for s in run.samples) / 1e6:.1f} MB at most "
        f"(limit {LIMITS.write_ahead_mb:g})",
        f"store                     grew by {run.store_grew_bytes / 1e6:.2f} MB for {sent / 1e6:.2f} MB of logs: "
        f"{run.store_per_log_byte():.2f} (expected {STORE_PER_LOG_BYTE[0]:g} to {STORE_PER_LOG_BYTE[1]:g}); "
        f"by {run.store_grew_after_bytes / 1e6:.2f} MB after them",
    ]


def _flat(words: str, values: Sequence[int], most: int) -> str:
    first, last = first_and_last(values)
    return (
        f"{words:25} {first:g} in the first third after warm-up, {last:g} in the last (limit {most} more), "
        f"{max(values)} at most"
    )


if __name__ == "__main__":
    arguments = argparse.ArgumentParser()
    arguments.add_argument("--minutes", type=float, default=30.0)
    arguments.add_argument("--samples", metavar="FILE", type=Path, help="write every sample there as CSV")
    told = arguments.parse_args()
    with tempfile.TemporaryDirectory() as name:
        seen = soak(60 * told.minutes, Path(name))
    if told.samples:
        rows = [",".join(Sample.__slots__), *(",".join(map(str, astuple(sample))) for sample in seen.samples)]
        told.samples.write_text("\n".join(rows) + "\n", encoding="utf-8")
    print(f"python -m tests.studies.soak --minutes {told.minutes:g}\n")
    print("\n".join(table(seen)))
    wrong = judged(seen)
    print("\n" + ("\n".join(wrong) or "Nothing was lost, nothing was answered with an error, and nothing grew."))
    raise SystemExit(bool(wrong))
