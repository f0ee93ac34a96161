"""kill -9 of a server that receives readings."""

import random
from pathlib import Path

from tests.conftest import sqlite_only
from tests.faults.bench_under_load import make_bench
from tests.services.adding_trials.live_runs.kills_of_live_runs import kill_during_live_runs, missing_readings

pytestmark = sqlite_only


def test_no_acknowledged_reading_is_lost_by_a_kill(tmp_path: Path):
    met = kill_during_live_runs(tmp_path / "bench", 2, random.Random(1))
    assert met.kills == 2
    assert met.acknowledged > 0


def test_the_search_for_lost_readings_finds_one(tmp_path: Path):
    store = make_bench(tmp_path / "bench")
    assert missing_readings(store, 1, [(0, 1.5)]) == ["reading 0 of run 1 was acknowledged as 1.5 and is None"]
