"""kill -9 of a real server during uploads; `tests.studies.kills` does it some hundred times, and to other work.

The windows that random kills hardly meet are in `test_points.py`.
"""

import random
from pathlib import Path

from tests.conftest import sqlite_only
from tests.faults.bench_under_load import make_bench
from tests.faults.killing.of_uploads import kill_during_uploads
from tests.faults.whole_store import change, faults_of, lost_marks, missing_trials

pytestmark = sqlite_only


def test_what_was_acknowledged_outlives_a_kill_during_uploads(tmp_path: Path):
    met = kill_during_uploads(tmp_path / "bench", 1, random.Random(2))
    assert met.kills == 1
    assert met.acknowledged > 0


def test_the_search_for_what_is_wrong_finds_it(tmp_path: Path):
    """The checks of these tests can fail: each kind of harm is done by hand and found."""
    store = make_bench(tmp_path / "bench")
    assert faults_of(store) == []
    change(store, "INSERT INTO raw_files VALUES (hex(zeroblob(32)), 1, x'00', '2026-01-01T00:00:00.000000Z')")
    found = faults_of(store)
    assert any(words.startswith("a raw file without a log") for words in found)
    assert any(words.startswith("a raw file of other bytes") for words in found)
    change(store, "DELETE FROM raw_files")
    change(store, "DELETE FROM speed_settings WHERE id = 1")
    change(
        store,
        "INSERT INTO prices VALUES (9, 77, 1.0, 'USD', '2026-01-01', '')",
    )
    assert any(words.startswith("reference") for words in faults_of(store))
    assert missing_trials(store, {1: "a" * 64}) == ["trial 1 was acknowledged and is missing"]
    assert lost_marks(store, {1: 5.0}, {}) == ["unit on of trial 1 was put at 5.0 s and stands at None s"]
