"""Time to make the whole demonstration bench, from an empty folder: `python -m tests.bench.demo_bench`.

Two numbers, because other load on the machine lengthens the first: seconds by the clock, and the processor time of all
processes, of which two idle cores would need at least half, and at least that of the process that stores.
"""

import resource
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

from app.services.store.open import open_store
from app.settings import Settings
from seed_demo.build import build_demo

AIM_S = 10.0


@dataclass(frozen=True, slots=True)
class DemoTimes:
    """Seconds by the clock, and processor time of this process and of those that simulate and analyse [s]."""

    clock_s: float
    storing_s: float
    ahead_s: float

    @property
    def words(self) -> str:
        return (
            f"The demonstration bench: {self.clock_s:.1f} s by the clock (aim {AIM_S:g} on two idle cores); processor "
            f"time {self.storing_s:.1f} s to store, {self.ahead_s:.1f} s to simulate, read and analyse."
        )


def demo_times() -> DemoTimes:
    with tempfile.TemporaryDirectory() as folder:
        began, storing, ahead = time.perf_counter(), _used(resource.RUSAGE_SELF), _used(resource.RUSAGE_CHILDREN)
        engine = open_store(Settings(Path(folder)))
        build_demo(engine)
        engine.dispose()
        return DemoTimes(
            time.perf_counter() - began,
            _used(resource.RUSAGE_SELF) - storing,
            _used(resource.RUSAGE_CHILDREN) - ahead,
        )


def _used(whose: int) -> float:
    used = resource.getrusage(whose)
    return used.ru_utime + used.ru_stime


if __name__ == "__main__":
    print(demo_times().words)
