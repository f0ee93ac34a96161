"""kill -9 of real processes at random moments: shared parts of all kinds of kill.

After each kill the server is restarted with its usual command, and the store is checked independently.
An AssertionError tells what was lost or left by half.
"""

import time
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from tests.faults.bench_under_load import Acknowledged, Desk, make_bench
from tests.faults.real_process import Process, Served, served
from tests.faults.whole_store import faults_of, lost_marks, missing_trials


@dataclass
class Kills:
    """What one kind of kill met.

    moments : how far the work was when it was killed, and how often
    acknowledged : answers that said yes, all of which were found again
    slowest_start_s : the longest that a server took from its start to its first answer after a kill
    """

    what: str
    kills: int = 0
    acknowledged: int = 0
    slowest_start_s: float = 0.0
    moments: Counter[str] = field(default_factory=Counter)

    def killed(self, moment: str) -> None:
        self.kills += 1
        self.moments[moment] += 1

    def started(self, server: Served) -> None:
        self.slowest_start_s = max(self.slowest_start_s, server.started_in_s)


OnKill = Callable[[Kills], None]


def no_progress(_so_far: Kills) -> None:
    """A progress callback that does nothing."""


def filled_bench(folder: Path, trials: int) -> Path:
    """A bench with trials on it, sent to a server that is stopped in the usual way."""
    store = make_bench(folder)
    with served(folder) as server:
        fill(server, trials)
    return store


def fill(server: Served, trials: int) -> None:
    """Sends logs to a server, so many at least."""
    told = Acknowledged()
    desk = Desk(told, interval_s=1.0)  # stores of some size, so that copying and analysing them takes its time
    with desk.at_work(server):
        wait_for(lambda: len(told.trials) >= trials or bool(told.refused), server.process)
    none(told.refused)


def nothing_lost(server: Served, store: Path, told: Acknowledged) -> None:
    """Everything acknowledged is there, in the store and in the answers of the server, and nothing is there by half."""
    none(faults_of(store))
    none(missing_trials(store, told.trials))
    none(lost_marks(store, told.marks, told.marks_in_flight))
    with server.client(60) as client:
        client.get("/").raise_for_status()
        for trial_id in list(told.trials)[-3:]:
            assert client.get(f"/api/trials/{trial_id}").raise_for_status().json()["id"] == trial_id
        for address in told.waiting[-2:]:
            assert client.get(address).status_code == 200, f"the upload that waits at {address} is gone"


def none(found: Sequence[str]) -> None:
    assert not found, "\n".join(found[:20])


def no_traceback(folder: Path) -> None:
    """Nothing that a server of this folder ever said was a traceback."""
    said = (folder.parent / f"{folder.name}.said").read_text(encoding="utf-8")
    assert "Traceback" not in said, said[-3000:]


def wait_for(happens: Callable[[], bool], process: Process, within_s: float = 60.0) -> None:
    """Until something happens or the process ends."""
    end = time.monotonic() + within_s
    while not happens() and process.poll() is None:
        assert time.monotonic() < end, "waited in vain"
        time.sleep(0.001)
