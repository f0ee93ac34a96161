"""A server in mixed use for some seconds does not keep growing; `tests.studies.soak` does it for thirty minutes."""

import subprocess
import sys
import time
from pathlib import Path

from app.web.process.malloc_arenas import HEAPS
from tests.conftest import sqlite_only
from tests.faults.concurrent_use import Crowd
from tests.faults.resource_use import Limits, Sample, after_warm_up, growth_beyond, take_sample
from tests.studies.soak import LIMITS, Soak, judged, soak

pytestmark = sqlite_only

# Memory cannot be judged in seconds. A handle for each request left open would be far more than this.
_SHORT = Limits(memory_slope_mb_per_h=float("inf"), more_handles=20, more_threads=10)
_LEAKS = """
import time
kept = []
for _ in range(2000):
    kept.append((open("/dev/null"), bytearray(200_000)))
    time.sleep(0.02)
"""


def test_mixed_use_of_some_seconds_leaves_nothing_open(tmp_path: Path):
    run = soak(3, tmp_path, sample_every_s=0.2, write_pause_s=0.2)
    assert judged(run, _SHORT, memory_per_store_byte=float("inf")) == []
    assert len(run.samples) > 8
    assert run.growing.trials
    assert run.steady.taken_back
    assert run.analysed_again + run.overtaken
    assert len(run.growing.reading.seconds) + len(run.steady.reading.seconds) > 12
    # the bench did not grow any more, and the free memory of threads stayed in the heaps that they share
    assert not run.steady.trials
    assert run.sent_then[-1] == len(run.growing.trials)
    assert 1 <= max(sample.heaps for sample in run.samples) <= HEAPS


def test_a_process_that_leaves_files_open_and_keeps_memory_is_found(tmp_path: Path):
    leaking = subprocess.Popen([sys.executable, "-c", _LEAKS])
    try:
        samples, begun = [], time.monotonic()
        for _ in range(12):
            time.sleep(0.2)
            samples.append(take_sample(leaking.pid, tmp_path / "none.sqlite", begun))
    finally:
        leaking.kill()
        leaking.wait(10)
    memory, handles = growth_beyond(
        samples, after_warm_up(samples), Limits(memory_slope_mb_per_h=60.0, more_handles=20)
    )
    assert memory.startswith("memory grows by ")
    assert memory.endswith(" MB/h; 60 MB/h is the limit")
    assert handles.startswith("handles went from ")
    assert handles.endswith("; 20 more is the limit")


def test_what_is_flat_is_not_found_and_what_grows_is_told():
    flat = [Sample(float(at), 200.0, 30, 6, 1_000_000, 4_000_000) for at in range(100)]
    assert growth_beyond(flat, flat, Limits(60.0)) == []
    grown = [Sample(s.at_s, 200.0 + s.at_s / 36, 30, 6 + int(s.at_s) // 5, 0, 90_000_000) for s in flat]
    assert growth_beyond(grown, grown, Limits(60.0)) == [
        "memory grows by 100 MB/h; 60 MB/h is the limit",
        "threads went from 14 to 23; 4 more is the limit",
        "the write-ahead log took 90.0 MB; 64 MB is the limit",
    ]


def _made_up(kb_with_each_trial: float, mb_per_h_after: float) -> Soak:
    """600 s: one log of 25 kB a second for half of them, each taking 50 kB in the store."""
    growing = Crowd(None, 0, 0, 1, trials=dict.fromkeys(range(300), ""), log_bytes=[25_000] * 300)
    run = Soak(growing, Crowd(None, 0, 0, 2), 0, steady_from_s=300.0, store_grew_bytes=300 * 50_000)
    for at in range(0, 601, 3):
        sent = min(at, 300)
        memory = 200.0 + sent * kb_with_each_trial / 1000 + (at - sent) * mb_per_h_after / 3600
        run.samples.append(Sample(float(at), memory, 30, 6, 0, 0))
        run.sent_then.append(sent)
    return run


def test_what_a_growing_bench_takes_is_told_apart_from_what_use_leaves_behind():
    assert judged(_made_up(45.0, 25.0), LIMITS) == []
    assert judged(_made_up(45.0, 40.0), LIMITS) == ["memory grows by 40 MB/h; 30 MB/h is the limit"]
    assert judged(_made_up(55.0, 25.0), LIMITS) == ["memory grows by 55 kB with each trial; 50 kB is the limit"]
