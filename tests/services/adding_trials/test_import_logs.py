"""An import ends a lot of logs after so many of them or so much time, so that other writers get their turn."""

import sqlite3
import threading
import time
from datetime import timedelta
from pathlib import Path
from types import SimpleNamespace

import pytest
from sqlalchemy import event
from sqlalchemy.exc import OperationalError

from app.services.adding_trials import import_logs as importing
from app.services.adding_trials.import_list import ImportLine
from app.services.adding_trials.import_logs import import_logs
from tests.conftest import NOW, decay_log, sqlite_only

LOGS = 6


class Clock:
    """Stands still but for the reading of a log, which takes `reading_s`; notes each pause."""

    def __init__(self, reading_s: float) -> None:
        self.now_s, self.reading_s, self.pauses = 1000.0, reading_s, []

    def monotonic(self) -> float:
        return self.now_s

    def sleep(self, seconds: float) -> None:
        self.pauses.append(seconds)


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
        (10.0, 50, LOGS),  # one alone takes longer than a lot may; it is still stored
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
    commits = []
    event.listen(store, "commit", commits.append)
    imported = import_logs(store, tmp_path, lines, add_missing=True)
    assert [one.message for one in imported] == [""] * LOGS
    assert len({one.trial_id for one in imported}) == LOGS
    assert len(commits) == expected_lots
    assert clock.pauses == [importing.PAUSE_S] * (expected_lots - 1)


def _locked_out(store, monkeypatch: pytest.MonkeyPatch, turns: int) -> list[int]:
    """The next `turns` transactions find the store locked, as SQLite says it after its own wait."""
    left = [turns]
    scope = importing.session_scope

    def busy(engine):
        if left[0]:
            left[0] -= 1
            raise OperationalError("BEGIN IMMEDIATE", {}, sqlite3.OperationalError("database is locked"))
        return scope(engine)

    monkeypatch.setattr(importing, "session_scope", busy)
    return left


def test_an_import_waits_for_its_turn_again_where_other_writers_kept_the_store(
    store, tmp_path: Path, lines: list[ImportLine], monkeypatch: pytest.MonkeyPatch
):
    monkeypatch.setattr(importing, "BATCH_SIZE", 4)
    left = _locked_out(store, monkeypatch, 3)
    heard: list[tuple[int, int, str]] = []
    imported = import_logs(store, tmp_path, lines, add_missing=True, on_progress=lambda *step: heard.append(step))
    assert left == [0]
    assert [one.message for one in imported] == [""] * LOGS
    assert heard == [(number + 1, LOGS, f"{number}.csv") for number in range(LOGS)]


@sqlite_only("the lock of the file is held")
def test_an_import_that_waited_for_others_leaves_them_half_the_time_of_a_batch(
    store, tmp_path: Path, lines: list[ImportLine], monkeypatch: pytest.MonkeyPatch
):
    pauses: list[float] = []
    clock = SimpleNamespace(monotonic=time.monotonic, sleep=pauses.append)
    monkeypatch.setattr(importing, "time", clock)
    monkeypatch.setattr(importing, "PAUSE_S", 0.0)
    monkeypatch.setattr(importing, "BATCH_SIZE", 3)
    other = sqlite3.connect(store.url.database, check_same_thread=False)
    other.execute("BEGIN IMMEDIATE")
    released = threading.Timer(0.4, other.rollback)
    released.start()
    imported = import_logs(store, tmp_path, lines, add_missing=True)
    released.join()
    other.close()
    assert [one.message for one in imported] == [""] * LOGS
    assert len(pauses) == 1
    assert pauses[0] > 0.01  # half of what three logs take
    pauses.clear()
    import_logs(store, tmp_path, lines)
    assert pauses == [0.0]  # alone


def test_an_import_gives_up_on_a_store_that_stays_locked_and_leaves_whole_batches(
    store, tmp_path: Path, lines: list[ImportLine], monkeypatch: pytest.MonkeyPatch
):
    _locked_out(store, monkeypatch, importing.MOST_TURNS)
    with pytest.raises(OperationalError):
        import_logs(store, tmp_path, lines, add_missing=True)
    again = import_logs(store, tmp_path, lines, add_missing=True)
    assert [one.present for one in again] == [False] * LOGS


def test_each_log_is_read_and_analysed_once(store, lines: list[ImportLine], tmp_path: Path, work_counted):
    imported = import_logs(store, tmp_path, lines, add_missing=True, now=NOW)
    assert [one.message for one in imported] == [""] * LOGS
    assert work_counted == {"reads": LOGS, "analyses": 3 * LOGS}
