"""The generated store that the speed measurements use: whole, and true to what it was asked for."""

import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from tests.bench.scale.large_bench import make_large_store


def test_a_large_store_holds_what_was_asked_for_and_breaks_no_reference(tmp_path: Path):
    made = make_large_store(tmp_path / "large.sqlite", units=12, trials=120, readings_per_trial=20)
    with closing(sqlite3.connect(made.path)) as store:
        tables = ("units_under_test", "trials", "readings", "channel_results")
        count = {name: store.execute("SELECT count(*) FROM " + name).fetchone()[0] for name in tables}
        assert count == {"units_under_test": 12, "trials": 120, "readings": 2400, "channel_results": 360}
        assert store.execute("PRAGMA foreign_key_check").fetchall() == []
        assert store.execute("SELECT count(*) FROM trials WHERE kind = 'empty room'").fetchone() == (3,)
    assert made.reading_values == 12_000


def test_a_large_store_is_not_written_over_a_file(tmp_path: Path):
    (tmp_path / "there.sqlite").write_bytes(b"")
    with pytest.raises(FileExistsError, match=r"there\.sqlite exists; give the path of a store that is still to be"):
        make_large_store(tmp_path / "there.sqlite", units=1, trials=1)
