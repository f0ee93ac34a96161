"""Scheduled backups: one a day, verified, thinned to days, weeks and months, and failures that are seen."""

import errno
import os
import sqlite3
import time
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from app.services.store import scheduled_backups
from app.services.store.open import open_store
from app.services.store.scheduled_backups import (
    backup_folder,
    backup_if_due,
    backup_state,
    backups_there,
    times_to_keep,
)
from app.settings import Settings, read_settings
from tests.conftest import sqlite_only

NOW = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
DAY = timedelta(days=1)


def test_of_a_year_of_days_the_last_days_weeks_and_months_stay():
    days = [NOW - DAY * number for number in range(400)]
    kept = sorted(times_to_keep(days), reverse=True)
    assert kept[:7] == days[:7]
    # Monday, 2 March 2026: the newest of each ISO week before it is a Sunday
    assert {at.date().isoformat() for at in kept if at.isoweekday() == 7 and at > NOW - DAY * 30} == {
        "2026-03-01", "2026-02-22", "2026-02-15",
    }  # fmt: skip
    months = {(at.year, at.month): at.day for at in kept}
    assert len(months) == 12
    ends = {at.date().isoformat() for at in kept}
    assert {"2026-02-28", "2026-01-31", "2025-12-31", "2025-04-30"} <= ends
    assert len(kept) <= 7 + 4 + 12


def test_folders_of_the_environment_may_begin_with_the_home_folder(monkeypatch: pytest.MonkeyPatch, tmp_path: Path):
    monkeypatch.setenv("HAZEFALL_DATA", "~/bench")
    monkeypatch.setenv("HAZEFALL_BACKUP_FOLDER", "~/copies")
    read = read_settings(tmp_path)
    assert (read.data_folder, read.backup_folder) == (Path.home() / "bench", Path.home() / "copies")


def test_few_backups_all_stay():
    times = [NOW, NOW - DAY * 40, NOW - DAY * 41 * 2]
    assert times_to_keep(times) == set(times)


@sqlite_only
def test_one_is_made_a_day_and_old_ones_go(settings: Settings, store):
    for number in range(14):
        state = backup_if_due(settings, NOW + DAY * number)
        assert state is not None
        assert state.problem == ""
        assert backup_if_due(settings, NOW + DAY * number + timedelta(hours=23)) is None
    there = backups_there(settings)
    assert len(there) == 8  # seven days, and the Sunday before them
    for _, path in there:
        with closing(sqlite3.connect(path)) as copy:
            assert copy.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
    assert backup_state(settings).made_at == (NOW + DAY * 13).isoformat()


@sqlite_only
def test_a_clock_that_is_set_back_stops_no_backup(settings: Settings, store):
    assert backup_if_due(settings, NOW) is not None
    assert backup_if_due(settings, NOW - DAY * 365) is not None
    assert backup_if_due(settings, NOW - DAY * 365 + timedelta(minutes=10)) is None


@sqlite_only
def test_of_several_processes_one_makes_it(settings: Settings, store):
    with ThreadPoolExecutor(4) as pool:
        states = list(pool.map(lambda second: backup_if_due(settings, NOW + timedelta(seconds=second)), range(4)))
    assert sum(state is not None for state in states) == 1
    assert [path.name for path in backup_folder(settings).iterdir()] == [Path(backup_state(settings).path).name]


@sqlite_only
def test_a_turn_of_a_process_that_ended_is_taken_over(settings: Settings, store, monkeypatch: pytest.MonkeyPatch):
    folder = backup_folder(settings)
    folder.mkdir(parents=True)
    (folder / "scheduled.turn").touch()
    assert backup_if_due(settings, NOW) is None
    monkeypatch.setattr(scheduled_backups, "_TURN_LASTS_S", -1.0)
    assert backup_if_due(settings, NOW) is not None


@sqlite_only
def test_a_second_folder_is_used_and_foreign_files_in_it_stay(settings: Settings, store, tmp_path: Path):
    second = tmp_path / "other disk"
    second.mkdir()
    (second / "bench-20200101-000000.sqlite").write_text("mine")
    there = replace(settings, backup_folder=second)
    for number in range(9):
        backup_if_due(there, NOW + DAY * number)
    assert (second / "bench-20200101-000000.sqlite").read_text() == "mine"
    assert len(backups_there(there)) == 7
    assert not (settings.data_folder / "backups").exists()


@sqlite_only
def test_benches_that_share_a_folder_each_have_their_backups(settings: Settings, store, tmp_path: Path):
    """With HAZEFALL_BACKUP_FOLDER set for all programs, the demonstration bench uses the folder of the own bench."""
    mine, other = (replace(settings, data_folder=tmp_path / name, backup_folder=tmp_path / "all") for name in "ab")
    for bench, first in ((mine, "Mine"), (other, "Other")):
        open_store(bench).dispose()
        _add_change(bench, first)
    for number in range(9):
        for bench in (other, mine):
            assert backup_if_due(bench, NOW + DAY * number) is not None
    for bench, first in ((mine, "Mine"), (other, "Other")):
        assert len(backups_there(bench)) == 7
        for _, path in backups_there(bench):
            with closing(sqlite3.connect(path)) as copy:
                assert copy.execute("SELECT after FROM changes").fetchone() == (first,)


def _add_change(bench: Settings, after: str) -> None:
    with closing(sqlite3.connect(bench.data_folder / "bench.sqlite")) as store:
        store.execute(
            "INSERT INTO changes (at, who, action, subject, subject_id, field, after, why) "
            "VALUES ('2026-03-01 00:00:00', 'Ada', 'added', 'room', 1, 'name', ?, '')",
            (after,),
        )
        store.commit()


@sqlite_only
def test_a_folder_that_cannot_be_read_is_noted_and_tried_again(
    settings: Settings, store, monkeypatch: pytest.MonkeyPatch
):
    """As a network share whose server has gone; the schedule goes on."""
    (tmp := backup_folder(settings)).mkdir(parents=True)
    with monkeypatch.context() as gone:
        gone.setattr(Path, "iterdir", _stale)
        failed = backup_if_due(settings, NOW)
    assert failed is not None
    assert failed.problem == f"{tmp}: Stale file handle"
    assert backup_if_due(settings, NOW) is not None
    assert backup_state(settings).problem == ""


def _stale(folder: Path):
    raise OSError(errno.ESTALE, "Stale file handle", str(folder))


@sqlite_only
def test_a_turn_of_a_time_with_a_wrong_clock_is_taken_over(settings: Settings, store):
    folder = backup_folder(settings)
    folder.mkdir(parents=True)
    turn = folder / "scheduled.turn"
    turn.touch()
    assert backup_if_due(settings, NOW) is None
    os.utime(turn, (time.time() + 365 * 86_400,) * 2)
    assert backup_if_due(settings, NOW) is not None


@sqlite_only
def test_a_failure_is_noted_beside_the_last_good_one_and_tried_again(
    settings: Settings, store, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
):
    assert backup_if_due(settings, NOW) is not None
    usage = scheduled_backups.shutil.disk_usage(settings.data_folder)
    with monkeypatch.context() as full:
        full.setattr(scheduled_backups.shutil, "disk_usage", lambda _: usage._replace(free=10))
        failed = backup_if_due(settings, NOW + DAY)
    assert failed is not None
    assert "0 MB are free" in failed.problem
    assert failed.made_at == NOW.isoformat()
    assert "The scheduled backup failed" in caplog.text
    again = backup_if_due(settings, NOW + DAY)
    assert again is not None
    assert again.problem == ""


def test_a_database_server_is_left_to_its_own_tools(settings: Settings):
    assert backup_if_due(replace(settings, database_url="postgresql://desk@localhost/bench"), NOW) is None
