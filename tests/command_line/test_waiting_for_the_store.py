"""Commands take turns with other programs that write to the bench, say that they wait, and can be stopped meanwhile."""

import logging
import signal
import sqlite3
import sys
import threading
import time
from contextlib import closing
from pathlib import Path

import pytest
from sqlalchemy import text
from sqlalchemy.exc import OperationalError

from app.services.store.open import open_store
from app.settings import Settings
from app.storage import engine as engines
from app.storage.engine import open_engine, session_scope
from tests.conftest import sqlite_only
from tests.faults.real_process import start_command

pytestmark = sqlite_only


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    open_store(Settings(tmp_path / "bench")).dispose()
    return tmp_path / "bench"


def another_writer(folder: Path) -> sqlite3.Connection:
    connection = sqlite3.connect(folder / "bench.sqlite", isolation_level=None, check_same_thread=False)
    connection.execute("BEGIN IMMEDIATE")
    return connection


@pytest.mark.skipif(sys.platform == "win32", reason="Windows sends Ctrl-C to a group of processes")
@pytest.mark.parametrize(("stopped_by", "status"), [(signal.SIGINT, 130), (signal.SIGTERM, -signal.SIGTERM)])
def test_a_command_that_waits_says_so_and_ends_at_once_when_it_is_stopped(
    folder: Path, stopped_by: signal.Signals, status: int
):
    with closing(another_writer(folder)):
        command = start_command("account", "add", "Ada", "--role", "edit", "--data", str(folder))
        said = command.stderr.readline()
        assert "Another program is writing to this bench. Waiting for it, for up to 2 min; Ctrl-C stops." in said
        command.send_signal(stopped_by)
        _, rest = command.communicate(timeout=20)  # of 120 s that it would wait
    assert (command.returncode, rest) == (status, "hazefall account: stopped.\n")


def test_a_command_writes_once_the_other_program_has_ended(folder: Path, caplog: pytest.LogCaptureFixture):
    engine, other = open_engine(f"sqlite:///{folder / 'bench.sqlite'}"), another_writer(folder)
    threading.Timer(0.5, other.rollback).start()
    began = time.monotonic()
    with caplog.at_level(logging.WARNING), session_scope(engine) as session:
        session.execute(text("UPDATE bench SET id = id"))
    assert time.monotonic() - began > 0.4
    assert caplog.records == []  # no word of a short wait
    assert session.connection().scalar(text("PRAGMA busy_timeout")) == 1000 * engines.COMMAND_WAITS_S
    engine.dispose()
    other.close()


def test_a_command_gives_up_in_the_end(folder: Path, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(engines, "COMMAND_WAITS_S", 0.5)
    engine = open_engine(f"sqlite:///{folder / 'bench.sqlite'}")
    with (
        closing(another_writer(folder)),
        pytest.raises(OperationalError, match="locked"),
        session_scope(engine) as session,
    ):
        session.execute(text("UPDATE bench SET id = id"))
    engine.dispose()
