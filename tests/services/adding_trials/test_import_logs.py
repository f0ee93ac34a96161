"""An import reads and analyses a lot of logs while others write, and stores it in one transaction."""

import sqlite3
from contextlib import closing
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest
from sqlalchemy import update
from sqlalchemy.exc import OperationalError

from app.services.adding_trials import import_logs as importing
from app.services.adding_trials import worked_log
from app.services.adding_trials.import_list import ImportLine
from app.services.adding_trials.import_logs import import_logs
from app.services.bench.definitions import NewLogger
from app.services.bench.loggers import add_logger
from app.storage.engine import open_engine, session_scope
from app.storage.models.loggers import Logger
from tests.conftest import NOW, decay_log, sqlite_only

LOGS = 6


class Clock:
    """Stands still but for the reading of a log, which takes `reading_s`."""

    def __init__(self, reading_s: float) -> None:
        self.now_s, self.reading_s = 1000.0, reading_s

    def monotonic(self) -> float:
        return self.now_s


@pytest.fixture
def lines(tmp_path: Path) -> list[ImportLine]:
    for number in range(LOGS):
        log = decay_log(4.0, minutes=30, seed=number, started_at=NOW + timedelta(days=number))
        (tmp_path / f"{number}.csv").write_bytes(log)
    return [
        ImportLine(file=f"{number}.csv", kind="empty room", room="Room A", room_volume_m3=30.0)
        for number in range(LOGS)
    ]


@pytest.mark.parametrize(
    ("reading_s", "logs_a_lot", "expected_lots"),
    [
        (0.0, 50, 1),  # all of them in one lot
        (0.0, 4, 2),  # so many
        (1.6, 50, 3),  # two take 3.2 s, and 3 s are the limit
        (10.0, 50, LOGS),  # one alone takes longer than a lot should; it is still stored
    ],
)
def test_a_lot_ends_after_so_many_logs_or_so_much_time(
    store,
    tmp_path: Path,
    lines: list[ImportLine],
    monkeypatch: pytest.MonkeyPatch,
    reading_s: float,
    logs_a_lot: int,
    expected_lots: int,
):
    assert importing.LONGEST_BATCH_S == 3.0
    clock = Clock(reading_s)
    read = importing.read_log

    def slow_read(*given, **named):
        clock.now_s += clock.reading_s
        return read(*given, **named)

    monkeypatch.setattr(importing, "time", clock)
    monkeypatch.setattr(importing, "read_log", slow_read)
    monkeypatch.setattr(importing, "BATCH_SIZE", logs_a_lot)
    lots = []
    store_batch = importing._store_batch
    monkeypatch.setattr(importing, "_store_batch", lambda *given: lots.append(given) or store_batch(*given))
    imported = import_logs(store, tmp_path, lines, add_missing=True)
    assert [one.message for one in imported] == [""] * LOGS
    assert len({one.trial_id for one in imported}) == LOGS
    assert len(lots) == expected_lots


@sqlite_only("one file has one writer")
def test_others_write_while_an_import_reads_and_analyses(
    store, tmp_path: Path, lines: list[ImportLine], monkeypatch: pytest.MonkeyPatch
):
    """A change meanwhile waits for nothing: SQLite is asked not to wait."""
    analyse, changes = worked_log.analyse_readings, []

    def changed_meanwhile(*given):
        with closing(sqlite3.connect(store.url.database, timeout=0.0)) as other, other:
            changes.append(other.execute("UPDATE bench SET name = name || '+'").rowcount)
        return analyse(*given)

    monkeypatch.setattr(worked_log, "analyse_readings", changed_meanwhile)
    imported = import_logs(store, tmp_path, lines, add_missing=True)
    assert [one.message for one in imported] == [""] * LOGS
    assert changes == [1] * LOGS


@pytest.mark.parametrize("changed", [False, True])
def test_a_log_is_analysed_again_where_its_logger_was_changed_before_it_was_stored(
    store, tmp_path: Path, lines: list[ImportLine], monkeypatch: pytest.MonkeyPatch, work_counted, changed: bool
):
    with session_scope(store) as session:
        add_logger(session, NewLogger(name="Logger 1"))
    store_batch = importing._store_batch

    def changed_before(*given):
        if changed:
            with session_scope(store) as session:
                session.execute(update(Logger).values(saturation_level_ug_m3=1000.0))
        return store_batch(*given)

    monkeypatch.setattr(importing, "_store_batch", changed_before)
    imported = import_logs(store, tmp_path, [replace(line, logger="Logger 1") for line in lines], add_missing=True)
    assert [one.message for one in imported] == [""] * LOGS
    assert work_counted == {"reads": LOGS, "analyses": (6 if changed else 3) * LOGS}


def test_a_folder_that_was_imported_before_is_not_analysed_again(
    store, tmp_path: Path, lines: list[ImportLine], work_counted
):
    import_logs(store, tmp_path, lines, add_missing=True)
    again = import_logs(store, tmp_path, lines)
    assert [one.present for one in again] == [True] * LOGS
    assert work_counted == {"reads": 2 * LOGS, "analyses": 3 * LOGS}


@sqlite_only("the lock of the file is held")
def test_an_import_gives_up_on_a_store_that_stays_locked_and_leaves_whole_batches(
    store, tmp_path: Path, lines: list[ImportLine]
):
    hurried = open_engine(store.url.render_as_string(), answers_within_s=0.1)
    with closing(sqlite3.connect(store.url.database)) as other:
        other.execute("BEGIN IMMEDIATE")
        with pytest.raises(OperationalError, match="database is locked"):
            import_logs(hurried, tmp_path, lines, add_missing=True)
    hurried.dispose()
    heard: list[tuple[int, int, str]] = []
    again = import_logs(store, tmp_path, lines, add_missing=True, on_progress=lambda *step: heard.append(step))
    assert [one.present for one in again] == [False] * LOGS
    assert heard == [(number + 1, LOGS, f"{number}.csv") for number in range(LOGS)]


def test_each_log_is_read_and_analysed_once(store, lines: list[ImportLine], tmp_path: Path, work_counted):
    imported = import_logs(store, tmp_path, lines, add_missing=True, now=NOW)
    assert [one.message for one in imported] == [""] * LOGS
    assert work_counted == {"reads": LOGS, "analyses": 3 * LOGS}
