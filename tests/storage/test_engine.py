"""Sessions leave nothing for the collector, and connections keep little in memory, the fewer the better."""

from pathlib import Path

from sqlalchemy import Engine, event, text
from sqlalchemy.orm import Session

from app.storage.engine import open_engine, session_scope
from tests.conftest import sqlite_only


def test_a_session_is_of_the_common_class(store: Engine):
    """A class of its own for each session would be left to the collector with every request."""
    with session_scope(store) as session:
        assert type(session) is Session


@sqlite_only
def test_the_connection_given_back_last_is_lent_first(tmp_path: Path):
    engine = open_engine(f"sqlite:///{tmp_path / 'any.sqlite'}")
    rush = [engine.connect() for _ in range(4)]
    for connection in rush:
        connection.close()
    lent: list[int] = []
    event.listen(engine, "checkout", lambda connection, _record, _proxy: lent.append(id(connection)))
    for _ in range(6):
        with engine.connect() as connection:
            connection.execute(text("SELECT 1"))
    engine.dispose()
    assert len(lent) == 6
    assert len(set(lent)) == 1


@sqlite_only
def test_a_connection_keeps_a_megabyte_of_pages(tmp_path: Path):
    engine = open_engine(f"sqlite:///{tmp_path / 'any.sqlite'}")
    with engine.connect() as connection:
        assert connection.scalar(text("PRAGMA cache_size")) == -1024  # in KiB
    engine.dispose()


@sqlite_only
def test_a_command_waits_for_writers_for_longer_than_a_page(tmp_path: Path):
    """A page answers 503 after fifteen seconds; an import of many logs beside busy writers goes on."""
    url = f"sqlite:///{tmp_path / 'any.sqlite'}"
    for answers_within_s, waits_ms in ((None, 120_000), (60.0, 15_000), (0.5, 500)):
        engine = open_engine(url, answers_within_s=answers_within_s)
        with engine.connect() as connection:
            assert connection.scalar(text("PRAGMA busy_timeout")) == waits_ms
        engine.dispose()
