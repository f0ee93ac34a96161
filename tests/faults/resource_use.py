"""Resource use of a process and its store, sampled during use, and whether it keeps growing."""

import re
import statistics
import time
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

WARM_UP_SHARE = 0.3  # of the run; what is loaded and kept when first used is there afterwards

_HEAP_BYTES = 64 << 20  # HEAP_MAX_SIZE of the GNU C library on machines of 64 bits


@dataclass(frozen=True, slots=True)
class Sample:
    """One look at a process: seconds since the first, resident memory, open handles, threads, bytes of the store."""

    at_s: float
    memory_mb: float
    handles: int
    threads: int
    store_bytes: int
    log_bytes: int  # of the write-ahead log beside the store
    anonymous_mb: float = 0.0  # of the memory, what is no file
    heaps: int = 0  # that the C library keeps for the threads


@dataclass(frozen=True, slots=True)
class Limits:
    """What a long run may do at most after its warm-up; handles and threads compare its first third with its last."""

    memory_slope_mb_per_h: float
    more_handles: int = 4
    more_threads: int = 4
    write_ahead_mb: float = 64.0


def take_sample(process: int, store: Path, begun_s: float) -> Sample:
    """begun_s : of the monotonic clock, the time of the first sample"""
    status = Path(f"/proc/{process}/status").read_text(encoding="utf-8")
    beside = store.with_name(f"{store.name}-wal")
    return Sample(
        time.monotonic() - begun_s,
        _number(status, "VmRSS") / 1000,
        len(list(Path(f"/proc/{process}/fd").iterdir())),
        _number(status, "Threads"),
        store.stat().st_size if store.exists() else 0,
        beside.stat().st_size if beside.exists() else 0,
        _number(status, "RssAnon") / 1000,
        heaps_of(process),
    )


def heaps_of(process: int) -> int:
    """Heaps of the GNU C library in a process: the first, and those for further threads.

    Each of these takes addresses at a multiple of 64 MB, of which it uses the first and keeps the rest closed, and
    goes on in another such place when the first is full. What stands first in each place is the heap that it is of.
    """
    further, opened_at = set(), 0
    for line in Path(f"/proc/{process}/maps").read_text(encoding="utf-8").splitlines():
        addresses, rights, _, device, _ = line.split(maxsplit=5)[:5]
        start, end = (int(address, 16) for address in addresses.split("-"))
        if device == "00:00" and rights == "rw-p" and start % _HEAP_BYTES == 0:
            opened_at = start
        if rights == "---p" and opened_at > 0 and end == opened_at + _HEAP_BYTES:
            further.add(_first_word(process, opened_at))
    return 1 + len(further - {b""})


def _first_word(process: int, address: int) -> bytes:
    with open(f"/proc/{process}/mem", "rb", buffering=0) as memory:
        memory.seek(address)
        try:
            return memory.read(8)
        except OSError:  # the place was given back meanwhile
            return b""


def after_warm_up(samples: Sequence[Sample]) -> list[Sample]:
    return [sample for sample in samples if sample.at_s >= WARM_UP_SHARE * samples[-1].at_s]


def slope_mb_per_h(samples: Sequence[Sample]) -> float:
    """Least squares line of the memory through the samples."""
    return 3600 * statistics.linear_regression([s.at_s for s in samples], [s.memory_mb for s in samples]).slope


def first_and_last(values: Sequence[float]) -> tuple[float, float]:
    """Medians of the first and the last third.

    >>> first_and_last([1, 1, 9, 2, 3, 2])
    (1.0, 2.5)
    """
    third = max(len(values) // 3, 1)
    return float(statistics.median(values[:third])), float(statistics.median(values[-third:]))


def growth_beyond(samples: Sequence[Sample], steady: Sequence[Sample], limits: Limits) -> list[str]:
    """What grew more than it may, in words; empty where all of it was flat.

    steady : those of the samples by which the memory is judged
    """
    settled = after_warm_up(samples)
    found = []
    slope = slope_mb_per_h(steady)
    if slope > limits.memory_slope_mb_per_h:
        found.append(f"memory grows by {slope:.0f} MB/h; {limits.memory_slope_mb_per_h:g} MB/h is the limit")
    for name, most in (("handles", limits.more_handles), ("threads", limits.more_threads)):
        first, last = first_and_last([getattr(sample, name) for sample in settled])
        if last - first > most:
            found.append(f"{name} went from {first:g} to {last:g}; {most} more is the limit")
    highest = max(sample.log_bytes for sample in samples) / 1e6
    if highest > limits.write_ahead_mb:
        found.append(f"the write-ahead log took {highest:.1f} MB; {limits.write_ahead_mb:g} MB is the limit")
    return found


def _number(status: str, name: str) -> int:
    found = re.search(rf"^{name}:\s+(\d+)", status, re.MULTILINE)
    assert found is not None, f"/proc does not tell {name}"
    return int(found[1])
