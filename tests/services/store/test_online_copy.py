"""A copy of a store that others write to or lock comes to an end."""

import itertools
import sqlite3
import threading
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest

from app.errors import StoreProblem
from app.services.store import online_copy
from app.services.store.online_copy import copy_pages
from app.services.store.progress import no_progress


@pytest.fixture
def store(tmp_path: Path) -> Path:
    path = tmp_path / "store.sqlite"
    with closing(sqlite3.connect(path)) as connection:
        connection.execute("PRAGMA journal_mode = WAL")
        connection.execute("CREATE TABLE t (content BLOB)")
        connection.executemany("INSERT INTO t VALUES (zeroblob(3000))", [()] * 300)
        connection.commit()
    return path


@pytest.fixture
def always_written(store: Path) -> Iterator[None]:
    """Another program that writes all the time."""
    enough = threading.Event()

    def write() -> None:
        with closing(sqlite3.connect(store, isolation_level=None)) as connection:
            while not enough.is_set():
                connection.execute("INSERT INTO t VALUES (zeroblob(10))")

    writer = threading.Thread(target=write)
    writer.start()
    yield
    enough.set()
    writer.join()


def test_a_store_that_is_always_written_is_copied_all_the_same(
    store: Path, always_written: None, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    monkeypatch.setattr(online_copy, "_PAGES_A_STEP", 1)
    with closing(sqlite3.connect(store)) as source, closing(sqlite3.connect(tmp_path / "copy")) as copy:
        copy_pages(source, copy, no_progress)
        assert copy.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        assert copy.execute("SELECT count(*) FROM t WHERE length(content) = 3000").fetchone() == (300,)


def test_a_copy_behind_a_lock_is_given_up(store: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    clock = itertools.count(step=5.0)
    monkeypatch.setattr(online_copy.time, "monotonic", lambda: next(clock))
    with (
        closing(sqlite3.connect(tmp_path / "copy")) as copy,
        closing(sqlite3.connect(store)) as source,
        closing(sqlite3.connect(tmp_path / "copy", isolation_level=None)) as other,
    ):
        other.execute("CREATE TABLE held (x)")
        other.execute("BEGIN EXCLUSIVE")
        with pytest.raises(StoreProblem, match="no progress for 30 s, because another program holds a lock"):
            copy_pages(source, copy, no_progress)
        other.execute("ROLLBACK")
