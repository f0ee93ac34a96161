"""A database server that is stuck, locked or gone: each wait ends, and a lost commit leaves its outcome open."""

import os
import signal
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from pathlib import Path

import psycopg
import pytest
from sqlalchemy import Engine, text
from sqlalchemy.exc import OperationalError
from sqlalchemy.orm import Session

from app.errors import OutcomeUnknown, StoreProblem
from app.services.store.open import _POSTGRESQL_LOCK, open_store
from app.services.store.problems import store_problem_from
from app.settings import Settings
from app.storage.engine import connection_options, open_engine, session_scope
from app.storage.timed_connection import TimedConnection
from tests.conftest import POSTGRESQL, new_database

needs_server = pytest.mark.skipif(not POSTGRESQL, reason="HAZEFALL_TEST_POSTGRESQL names no server")


@pytest.fixture
def address() -> Iterator[str]:
    with new_database() as url:
        yield url


@pytest.fixture
def engine(address: str) -> Iterator[Engine]:
    made = open_engine(address.replace("postgresql://", "postgresql+psycopg://"), answers_within_s=1.0)
    yield made
    made.dispose()


def backend_of(session) -> int:
    return int(session.scalar(text("SELECT pg_backend_pid()")))


def _ask_while_frozen(engine: Engine) -> None:
    with session_scope(engine, writes=False) as session:
        frozen = backend_of(session)
        try:
            os.kill(frozen, signal.SIGSTOP)
        except PermissionError:
            pytest.skip("the process of the server belongs to another user")
        try:
            session.execute(text("SELECT 1"))
        finally:
            os.kill(frozen, signal.SIGCONT)


@needs_server
def test_a_slow_statement_is_given_up_by_the_server(engine: Engine):
    with pytest.raises(OperationalError) as failed, session_scope(engine, writes=False) as session:
        session.execute(text("SELECT pg_sleep(30)"))
    problem = store_problem_from(failed.value)
    assert problem is not None
    assert "is busy: canceling statement due to" in problem.message


@needs_server
def test_a_lock_that_is_held_is_not_waited_for_without_end(engine: Engine):
    with session_scope(engine) as session:  # holds the lock of writers
        session.execute(text("SELECT 1"))
        with pytest.raises(OperationalError) as failed, session_scope(engine) as other:
            other.execute(text("SELECT 1"))
    problem = store_problem_from(failed.value)
    assert problem is not None
    assert "is busy" in problem.message


@needs_server
def test_a_command_that_waits_for_the_lock_of_writers_says_so(
    engine: Engine, address: str, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
):
    monkeypatch.setattr("app.storage.engine._LOG_AFTER_S", 0.2)
    of_command = open_engine(address.replace("postgresql://", "postgresql+psycopg://"))

    def write() -> None:
        with session_scope(of_command) as session:
            session.execute(text("SELECT 1"))

    write()
    with ThreadPoolExecutor(1) as pool:
        with session_scope(engine) as session:  # holds the lock
            session.execute(text("SELECT 1"))
            assert caplog.messages == []
            waiting = pool.submit(write)
            time.sleep(0.6)
        waiting.result(10)
    of_command.dispose()
    assert caplog.messages == ["Another program is writing to this bench. Waiting for it; Ctrl-C stops."]


@needs_server
def test_a_command_that_waits_for_another_to_migrate_says_so(
    address: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
):
    monkeypatch.setattr("app.storage.engine._LOG_AFTER_S", 0.2)
    settings = Settings(tmp_path, database_url=address.replace("postgresql://", "postgresql+psycopg://"))
    with ThreadPoolExecutor(1) as pool:
        with closing(psycopg.connect(address)) as other:
            other.execute("SELECT pg_advisory_lock(%s)", [_POSTGRESQL_LOCK])
            opened = pool.submit(open_store, settings)
            time.sleep(1.5)
        opened.result(30).dispose()
    assert "Another program is writing to this bench. Waiting for it; Ctrl-C stops." in caplog.messages


@needs_server
@pytest.mark.skipif(not Path("/proc").is_dir(), reason="finds the process of the server in /proc")
def test_a_frozen_server_is_given_up_and_the_next_request_works(engine: Engine):
    """Its own limits are frozen with it."""
    with pytest.raises(OperationalError) as failed:
        _ask_while_frozen(engine)
    assert "did not answer within 1 s" in str(failed.value)
    problem = store_problem_from(failed.value)
    assert problem is not None
    assert "does not respond" in problem.message
    with session_scope(engine, writes=False) as session:
        assert session.scalar(text("SELECT 1")) == 1


@needs_server
def test_after_a_restart_of_the_server_the_read_that_met_it_says_so_and_the_next_works(engine: Engine, address: str):
    """A restart ends all connections: those in use, and those that wait in the pool."""

    def end_all() -> None:
        with closing(psycopg.connect(address, autocommit=True)) as other:
            other.execute(
                "SELECT pg_terminate_backend(pid, 5000) FROM pg_stat_activity "
                "WHERE datname = current_database() AND pid <> pg_backend_pid()"
            )

    with session_scope(engine, writes=False) as session:
        waiting = backend_of(session)

    def read_on() -> None:
        with session_scope(engine, writes=False) as session:
            assert backend_of(session) == waiting  # from the pool
            end_all()
            session.execute(text("SELECT 1"))

    with pytest.raises(OperationalError) as failed:
        read_on()
    problem = store_problem_from(failed.value)
    assert problem is not None
    assert "Start the database server and try again" in problem.message
    with session_scope(engine, writes=False) as session:
        waiting = backend_of(session)
    end_all()
    with session_scope(engine) as session:
        assert backend_of(session) != waiting


@pytest.fixture
def table(engine: Engine) -> str:
    with session_scope(engine) as session:
        session.execute(text("CREATE TABLE t (x int)"))
    return "t"


def rows(address: str, table: str) -> int:
    with closing(psycopg.connect(address)) as other:
        return int(other.execute(f"SELECT count(*) FROM {table}").fetchone()[0])


def _insert(engine: Engine, table: str, then: Callable[[Session], None] = lambda session: None) -> None:
    with session_scope(engine) as session:
        session.execute(text(f"INSERT INTO {table} VALUES (1)"))
        then(session)


@needs_server
def test_a_connection_lost_before_the_commit_is_looked_up_and_nothing_was_saved(
    engine: Engine, address: str, table: str
):
    def end_its_backend(session: Session) -> None:
        with closing(psycopg.connect(address, autocommit=True)) as other:
            other.execute("SELECT pg_terminate_backend(%s)", [backend_of(session)])

    with pytest.raises(StoreProblem, match=r"confirms that nothing was saved\. Send it again\."):
        _insert(engine, table, end_its_backend)
    assert rows(address, table) == 0


@pytest.fixture
def answer_is_lost(monkeypatch: pytest.MonkeyPatch) -> None:
    """The server commits, and its answer does not arrive."""

    def commit(connection: TimedConnection) -> None:
        psycopg.Connection.commit(connection)
        connection.pgconn.finish()
        raise psycopg.OperationalError("server closed the connection unexpectedly")

    monkeypatch.setattr(TimedConnection, "commit", commit)


@needs_server
@pytest.mark.usefixtures("answer_is_lost")
def test_a_connection_lost_after_the_commit_is_looked_up_and_everything_was_saved(
    engine: Engine, address: str, table: str
):
    _insert(engine, table)
    assert rows(address, table) == 1


@needs_server
@pytest.mark.usefixtures("answer_is_lost")
def test_an_outcome_that_nobody_can_tell_is_told_as_unknown(
    engine: Engine, table: str, monkeypatch: pytest.MonkeyPatch
):
    monkeypatch.setattr("app.storage.engine.PAUSES_S", (0.0, 0.0))

    def stays_away(*_given, **_named):
        raise psycopg.OperationalError("connection refused")

    def end_the_server(_session: Session) -> None:
        engine.dispose()  # closes the connections that are not in use
        monkeypatch.setattr(TimedConnection, "connect", stays_away)

    with pytest.raises(OutcomeUnknown, match="cannot be asked now whether it was saved"):
        _insert(engine, table, end_the_server)


def test_a_command_that_takes_long_has_no_limit_on_statements():
    assert "options" not in connection_options(None)
    assert "statement_timeout=54000" in connection_options(60.0)["options"]
    assert connection_options(None)["connect_timeout"] == 10
