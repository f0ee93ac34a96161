"""Several writers and readers on one real server for some seconds; `tests.studies.concurrency` does it longer."""

from pathlib import Path

from tests.conftest import sqlite_only
from tests.faults.bench_under_load import make_bench
from tests.faults.concurrent_use import Crowd, missing_prices
from tests.faults.killing.kills import fill, none
from tests.faults.real_process import served
from tests.faults.whole_store import ask, faults_of, lost_marks, missing_trials

pytestmark = sqlite_only


def _all_has_happened(crowd: Crowd) -> bool:
    return len(crowd.trials) >= 10 and len(crowd.prices) >= 3 and len(crowd.reading.seconds) >= 40


def test_nothing_is_lost_and_nobody_gets_an_error(tmp_path: Path):
    store = make_bench(tmp_path / "bench")
    with served(tmp_path / "bench") as server:
        fill(server, 10)
        crowd = Crowd(server, readers=8, writers=8, seed=1)
        crowd.stay(until=lambda: bool(crowd.writing.odd) or _all_has_happened(crowd))
        assert "Traceback" not in server.said()
    none(crowd.reading.odd + crowd.writing.odd)
    assert crowd.trials
    assert crowd.prices
    assert crowd.reading.seconds
    none(faults_of(store))
    none(missing_trials(store, crowd.trials))
    none(lost_marks(store, crowd.marks, {}))
    none(missing_prices([row[0] for row in ask(store, "SELECT amount FROM prices")], crowd.prices))
