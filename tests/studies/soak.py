"""One server in mixed use for minutes: do memory, file handles and the store stay as they should?

python -m tests.studies.soak --minutes 10

Readers ask for every kind of page and the data of its charts; writers send logs, move marks and note prices; the whole
bench is analysed again now and then. Prints what the server took. An AssertionError tells what grew, what was lost and
what was answered with an error.
"""

import argparse
import tempfile
import time
from collections.abc import Sequence
from dataclasses import astuple, dataclass, field
from pathlib import Path

import httpx

from app.services.loggers import NewLogger, add_logger
from app.services.open_store import open_store
from app.services.rooms import add_smoke_source
from app.services.tariffs import add_tariff
from app.settings import Settings
from app.storage.bench import Bench
from app.storage.engine import session_scope
from tests.bench.scale_addresses import figure_addresses, filled, ids_of, measured_addresses
from tests.conftest import NOW
from tests.faults.concurrent_use import Answered, Crowd, missing_prices
from tests.faults.kills import filled_bench, none
from tests.faults.real_process import Served, served, start_command
from tests.faults.resource_use import (
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
OVERTAKEN = "A trial was changed since the re-analysis was made"
# Raw bytes, readings, results and the record of changes: what a log takes in the store, against its own bytes.
STORE_PER_LOG_BYTE = (1.0, 4.0)
# A server that keeps what it has read may settle for a while; a leak of 1 kB with each of 20 requests a second is 72.
LIMITS = Limits(memory_slope_mb_per_h=60.0)
_TAKEN = ("/charts/ranking.svg", "/charts/ranking.csv", "/charts/decay-overlay.png", "/tables/ranking.csv")


@dataclass
class Soak:
    """A bounded run and what was seen in it."""

    crowd: Crowd
    addresses: int
    samples: list[Sample] = field(default_factory=list)
    analysed_again: int = 0
    overtaken: int = 0  # re-analyses that stored nothing, because somebody changed a trial meanwhile
    store_grew_bytes: int = 0
    faults: list[str] = field(default_factory=list)

    def store_per_log_byte(self) -> float:
        return self.store_grew_bytes / sum(self.crowd.log_bytes)


def soak(seconds: float, place: Path, *, sample_every_s: float = SAMPLE_EVERY_S, readers: int = 6) -> Soak:
    """Uses a server of its own for so long; the faults found are in the result, in words."""
    folder = place / "bench"
    store = filled_bench(folder, 10)
    _complete(folder)
    with served(folder) as server:
        addresses = _every_address(server, store)
        crowd = Crowd(server.url, readers, 4, 1, addresses=addresses, write_pause_s=2.0)
        run = Soak(crowd, len(addresses))
        before = _size_of(store)
        _stay(run, server, folder, seconds, sample_every_s)
        run.store_grew_bytes = _size_of(store) - before
        said = server.said()
    run.faults += [*crowd.reading.odd, *crowd.writing.odd, *faults_of(store), *missing_trials(store, crowd.trials)]
    run.faults += lost_marks(store, crowd.marks, {})
    run.faults += missing_prices([row[0] for row in ask(store, "SELECT amount FROM prices")], crowd.prices)
    if "Traceback" in said:
        run.faults.append(said[-3000:])
    return run


def _stay(run: Soak, server: Served, folder: Path, seconds: float, sample_every_s: float) -> None:
    begun = time.monotonic()
    again = None

    def over() -> bool:
        nonlocal again
        spent = time.monotonic() - begun
        if not run.samples or spent - run.samples[-1].at_s >= sample_every_s:
            run.samples.append(take_sample(server.process.pid, folder / "bench.sqlite", begun))
        if again is not None and again.poll() is not None:
            said, err = again.communicate()
            run.analysed_again += again.returncode == 0
            if OVERTAKEN in err:
                run.overtaken += 1
            elif again.returncode:
                run.faults.append(f"a re-analysis ended with status {again.returncode}: {said}{err}")
            again = None
        due = spent // min(ANALYSE_AGAIN_EVERY_S, seconds / 2)
        if again is None and due > run.analysed_again + run.overtaken and spent < seconds:
            again = start_command(
                "recompute", "--accept", "--workers", "1", "--data", str(folder), "--who", "Ada", "--why", "again"
            )
        return spent >= seconds and again is None

    run.crowd.stay(until=over)
    run.samples.append(take_sample(server.process.pid, folder / "bench.sqlite", begun))


def _every_address(server: Served, store: Path) -> list[str]:
    """Every page and list, the data of the drawings on them, and files to take away; each is answered once."""
    ids = ids_of(store)
    answered, found = Answered(), []
    with httpx.Client(base_url=server.url, timeout=120) as client:
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
        add_smoke_source(session, "Incense", "smoke")
        tariff = add_tariff(session, "Hillside", 0.2, "USD", NOW.date(), source="bill")
        session.get_one(Bench, 1).tariff_id = tariff
    engine.dispose()


def _size_of(store: Path) -> int:
    """Pages in use, wherever they stand: in the file or still in the write-ahead log."""
    (pages,), (size,) = ask(store, "PRAGMA page_count")[0], ask(store, "PRAGMA page_size")[0]
    return pages * size


def judged(run: Soak, limits: Limits = LIMITS) -> list[str]:
    """Everything that should not be, in words."""
    found = [*run.faults, *growth_beyond(run.samples, limits)]
    least, most = STORE_PER_LOG_BYTE
    if not least <= run.store_per_log_byte() <= most:
        found.append(
            f"the store grew by {run.store_per_log_byte():.2f} bytes for each byte sent; {least:g} to {most:g} expected"
        )
    return found


def table(run: Soak) -> list[str]:
    settled = after_warm_up(run.samples)
    crowd, took = run.crowd, run.crowd.took_s
    sent = sum(crowd.log_bytes)
    return [
        f"run                       {took:.0f} s, {len(run.samples)} samples; warm-up until {settled[0].at_s:.0f} s",
        f"read                      {len(crowd.reading.seconds)} answers from {run.addresses} addresses, "
        f"{len(crowd.reading.seconds) / took:.1f}/s, p95 {1000 * crowd.reading.p95_s():.0f} ms",
        f"written                   {len(crowd.trials)} logs, {len(crowd.prices)} prices, "
        f"{len(crowd.writing.seconds) - len(crowd.trials) - len(crowd.prices)} moves of marks; "
        f"p95 {1000 * crowd.writing.p95_s():.0f} ms",
        f"analysed again            {run.analysed_again} times the whole bench; "
        f"{run.overtaken} times refused, because a trial was changed meanwhile",
        f"errors                    {len(crowd.reading.odd) + len(crowd.writing.odd)}",
        f"memory                    {run.samples[0].memory_mb:.0f} MB at first, "
        f"{settled[0].memory_mb:.0f} after warm-up, {settled[-1].memory_mb:.0f} at the end, "
        f"{max(sample.memory_mb for sample in run.samples):.0f} at most",
        f"memory, slope             {slope_mb_per_h(settled):+.0f} MB/h after warm-up "
        f"(limit {LIMITS.memory_slope_mb_per_h:g})",
        _flat("file handles", [s.handles for s in settled], LIMITS.more_handles),
        _flat("threads", [s.threads for s in settled], LIMITS.more_threads),
        f"write-ahead log           {max(s.log_bytes for s in run.samples) / 1e6:.1f} MB at most "
        f"(limit {LIMITS.write_ahead_mb:g})",
        f"store                     grew by {run.store_grew_bytes / 1e6:.2f} MB for {sent / 1e6:.2f} MB of logs: "
        f"{run.store_per_log_byte():.2f} (expected {STORE_PER_LOG_BYTE[0]:g} to {STORE_PER_LOG_BYTE[1]:g})",
    ]


def _flat(words: str, values: Sequence[int], most: int) -> str:
    first, last = first_and_last(values)
    return (
        f"{words:25} {first:g} in the first third after warm-up, {last:g} in the last (limit {most} more), "
        f"{max(values)} at most"
    )


if __name__ == "__main__":
    arguments = argparse.ArgumentParser()
    arguments.add_argument("--minutes", type=float, default=10.0)
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
