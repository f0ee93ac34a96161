"""Copies of the store: at no moment without a store, and nothing left behind for good."""

import os
import sqlite3
import time
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pytest

from app.errors import StoreProblem
from app.services.store import backup as copying
from app.services.store.backup import backup_store, restore_store
from app.settings import Settings
from tests.conftest import sqlite_only
from tests.faults.real_process import run_command

pytestmark = sqlite_only
DAY_S = 24 * 3600


class Cut(Exception):
    """The process ends here."""


def _name(store: Path) -> str:
    with closing(sqlite3.connect(store)) as connection:
        assert connection.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        return connection.execute("SELECT name FROM bench").fetchone()[0]


def _rename(store: Path, name: str) -> None:
    with closing(sqlite3.connect(store)) as connection:
        connection.execute("UPDATE bench SET name = ?", (name,))
        connection.commit()


@pytest.fixture
def copy(settings: Settings, tmp_path: Path) -> Path:
    """A copy of a bench named “Copied”, of which the present name is “Present”."""
    store = settings.data_folder / "bench.sqlite"
    _rename(store, "Copied")
    path = backup_store(settings, tmp_path / "copy.sqlite").path
    _rename(store, "Present")
    return path


STEPS = ("hardlink_to", "unlink", "replace", "rename")


@pytest.mark.parametrize("kept_by", ["a second name", "a copy"])
def test_at_no_moment_of_a_restore_is_there_no_store(
    copy: Path, settings: Settings, monkeypatch: pytest.MonkeyPatch, kept_by: str
):
    """Looks before and after every step on the disk; on a disk without second names the store is copied."""
    store = settings.data_folder / "bench.sqlite"
    seen: list[tuple[str, bool]] = []

    def watched(name: str, step: Callable) -> Callable:
        def take(path: Path, *given, **named):
            seen.append((name, store.exists()))
            if name == "hardlink_to" and kept_by == "a copy":
                raise OSError("no second names here")
            done = step(path, *given, **named)
            seen.append((name, store.exists()))
            return done

        return take

    for name in STEPS:
        monkeypatch.setattr(Path, name, watched(name, getattr(Path, name)))
    restore_store(settings, copy, overwrite=True)
    monkeypatch.undo()
    assert {"hardlink_to", "replace"} <= {name for name, _ in seen}
    assert all(there for _, there in seen)
    assert _name(store) == "Copied"
    (kept,) = store.parent.glob("bench.sqlite.replaced-*")
    assert _name(kept) == "Present"


@pytest.mark.parametrize("step", range(1, 10))
def test_a_restore_that_is_cut_off_leaves_the_one_store_or_the_other(
    copy: Path, settings: Settings, monkeypatch: pytest.MonkeyPatch, step: int
):
    """Cut off before its nth step on the disk; there are fewer than nine, so that the last gets to its end."""
    store = settings.data_folder / "bench.sqlite"
    taken = 0

    def counted(do: Callable) -> Callable:
        def take(path: Path, *given, **named):
            nonlocal taken
            taken += 1
            if taken >= step:
                raise Cut
            return do(path, *given, **named)

        return take

    for name in STEPS:
        monkeypatch.setattr(Path, name, counted(getattr(Path, name)))
    try:
        restore_store(settings, copy, overwrite=True)
        ended = True
    except Cut:
        ended = False
    monkeypatch.undo()
    assert ended == (taken < step)
    assert ended or step < 9
    assert _name(store) == ("Copied" if ended else "Present")
    restore_store(settings, copy, overwrite=True)  # what was left behind is not in the way
    assert _name(store) == "Copied"
    assert not list(store.parent.glob("*.unfinished"))


def test_a_backup_removes_what_was_cut_off_long_ago_and_leaves_the_rest(settings: Settings):
    folder = settings.data_folder / "backups"
    folder.mkdir()
    ages_s = {
        "bench-20250101-000000.sqlite.7.unfinished": 2 * DAY_S,
        "scheduled-20250101-000000-00000000.sqlite.7.unfinished": 2 * DAY_S,
        "bench-20250101-000000.sqlite.7.unfinished-journal": 2 * DAY_S,
        "bench-20260301-000000.sqlite.7.unfinished": 60,  # may still be running
        "bench-20250102-000000.sqlite": 300 * DAY_S,  # a finished copy, however old
        "letter.unfinished": 300 * DAY_S,  # not ours
    }
    for name, age_s in ages_s.items():
        (folder / name).write_bytes(b"x")
        os.utime(folder / name, (time.time() - age_s,) * 2)
    made = backup_store(settings)
    assert {file.name for file in folder.iterdir()} == {made.path.name, *list(ages_s)[3:]}


@pytest.mark.parametrize("step", ["verify_copy", "_keep_beside"])
def test_two_at_once_leave_each_other_alone(
    copy: Path, settings: Settings, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, step: str
):
    """Another process makes the same backup or restore while this one is in the middle of its own."""
    made, folder = tmp_path / "made.sqlite", str(settings.data_folder)
    do = getattr(copying, step)

    def take(path: Path):
        monkeypatch.setattr(copying, step, do)
        typed = ["backup", str(made)] if step == "verify_copy" else ["restore", str(copy), "--overwrite"]
        other = run_command(*typed, "--data", folder)
        assert (other.returncode, other.stderr) == (0, "")
        return do(path)

    monkeypatch.setattr(copying, step, take)
    if step == "verify_copy":
        assert _name(backup_store(settings, made).path) == "Present"
    else:
        assert _name(restore_store(settings, copy, overwrite=True).path) == "Copied"
    assert not [*made.parent.glob("*unfinished*"), *settings.data_folder.glob("*unfinished*")]


def test_a_backup_does_not_wait_for_ever_for_a_store_that_is_held(settings: Settings, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(copying, "WAIT_FOR_STORE_S", 0.1)
    store = settings.data_folder / "bench.sqlite"
    with closing(sqlite3.connect(store)) as other:
        other.execute("PRAGMA locking_mode = EXCLUSIVE")
        other.execute("BEGIN EXCLUSIVE")
        with pytest.raises(StoreProblem, match=rf"^{store} is locked by another program"):
            backup_store(settings)
    assert not (settings.data_folder / "backups").exists()


def test_a_copy_that_does_not_stand_its_check_is_not_kept(settings: Settings):
    with closing(sqlite3.connect(settings.data_folder / "bench.sqlite")) as store:
        store.execute(
            "INSERT INTO speed_settings (unit_under_test_id, name, position, is_highest) VALUES (77, 'low', 1, 0)"
        )
        store.commit()
    with pytest.raises(
        StoreProblem, match="holds 1 rows that refer to a missing row, the first in table speed_settings"
    ):
        backup_store(settings)
    assert list((settings.data_folder / "backups").iterdir()) == []


def test_a_store_that_is_in_use_is_not_replaced_and_nothing_is_left_beside_it(
    copy: Path, settings: Settings, monkeypatch: pytest.MonkeyPatch
):
    """A server that has read from the store keeps it mapped; what it wrote afterwards would go to the old file."""
    monkeypatch.setattr(copying, "WAIT_FOR_STORE_S", 0.1)
    store = settings.data_folder / "bench.sqlite"
    with closing(sqlite3.connect(store)) as server:
        server.execute("SELECT count(*) FROM trials").fetchone()
        with pytest.raises(StoreProblem, match=rf"^{store} is locked by another program"):
            restore_store(settings, copy, overwrite=True)
        assert _name(store) == "Present"
        assert not list(store.parent.glob("*.unfinished")) + list(store.parent.glob("*.replaced-*"))
    restore_store(settings, copy, overwrite=True)
    assert _name(store) == "Copied"


def test_a_damaged_store_keeps_its_write_ahead_log_when_it_is_replaced(copy: Path, settings: Settings):
    store = settings.data_folder / "bench.sqlite"
    store.write_bytes(b"no store" * 1000)
    store.with_name("bench.sqlite-wal").write_bytes(b"what was written last")
    restore_store(settings, copy, overwrite=True)
    assert _name(store) == "Copied"
    kept, log = sorted(store.parent.glob("bench.sqlite.replaced-*"))
    assert kept.read_bytes() == b"no store" * 1000
    assert log.name == f"{kept.name}-wal"
    assert log.read_bytes() == b"what was written last"


def test_the_log_of_a_removed_store_changes_nothing_in_the_restored_one(copy: Path, settings: Settings):
    store = settings.data_folder / "bench.sqlite"
    log = store.with_name("bench.sqlite-wal")
    with closing(sqlite3.connect(store)) as killed:  # its log stays, as after kill -9
        killed.execute("PRAGMA journal_mode = WAL")
        killed.execute("UPDATE bench SET name = 'Removed'")
        killed.commit()
        left = log.read_bytes()
    store.unlink()
    log.write_bytes(left)
    restore_store(settings, copy)
    assert _name(store) == "Copied"
    assert [path.read_bytes() for path in store.parent.glob("bench.sqlite.replaced-*-wal")] == [left]


def _damaged(copy: Path, kind: str) -> None:
    content = copy.read_bytes()
    if kind == "cut off":
        copy.write_bytes(content[: len(content) // 2])
    elif kind == "cut off by a byte":
        copy.write_bytes(content[:-1])
    elif kind == "pages of nothing":
        copy.write_bytes(content[:8192] + b"\x00" * 40_960 + content[49_152:])
    else:
        copy.write_bytes(b"no store at all" * 500)


@pytest.mark.parametrize("kind", ["cut off", "cut off by a byte", "pages of nothing", "no store"])
def test_a_damaged_copy_is_refused_in_one_plain_sentence_or_two(copy: Path, settings: Settings, kind: str):
    """SQLite describes a damaged file in ninety lines; and the advice is not the command that is running."""
    _damaged(copy, kind)
    with pytest.raises(StoreProblem) as refused:
        restore_store(settings, copy, overwrite=True)
    message = refused.value.message
    assert "\n" not in message
    assert len(message) < 400
    assert "is damaged" in message
    assert "Use another copy" in message
    assert "in database main" not in message  # the heading of SQLite's list of faults
    assert "hazefall restore" not in message
    assert _name(settings.data_folder / "bench.sqlite") == "Present"
