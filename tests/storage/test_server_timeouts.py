"""A database server that is stuck, locked or gone: each wait ends, and a lost commit leaves its outcome open."""

import os
import signal
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import psycopg
import pytest
from sqlalchemy import Engine, text
from sqlalchemy.exc import OperationalError

from app.errors import OutcomeUnknown
from app.services.store.problems import store_problem_from
from app.storage.engine import connection_options, open_engine, session_scope
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
def test_a_connection_lost_at_the_commit_leaves_the_outcome_open(engine: Engine, address: str):
    with session_scope(engine) as session:
        session.execute(text("CREATE TABLE t (x int)"))
    with pytest.raises(OutcomeUnknown, match=r"may have been saved or not\. Look at the list before"):
        _insert_and_lose_the_connection(engine, address)


def _insert_and_lose_the_connection(engine: Engine, address: str) -> None:
    with session_scope(engine) as session:
        session.execute(text("INSERT INTO t VALUES (1)"))
        with closing(psycopg.connect(address, autocommit=True)) as other:
            other.execute("SELECT pg_terminate_backend(%s)", [backend_of(session)])


def test_a_command_that_takes_long_has_no_limit_on_statements():
    assert "options" not in connection_options(None)
    assert "statement_timeout=54000" in connection_options(60.0)["options"]
    assert connection_options(None)["connect_timeout"] == 10
