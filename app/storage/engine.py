"""Opens the store. On SQLite each connection gets foreign keys, a write-ahead log and real transactions."""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from sqlalchemy import Engine, create_engine, event
from sqlalchemy.orm import Session

WRITE_LOCK_KEY = 7_204_312  # any number, the same in every process: the lock that a writer holds on PostgreSQL
_PRAGMAS = (
    "PRAGMA journal_mode = WAL",
    "PRAGMA synchronous = NORMAL",
    "PRAGMA foreign_keys = ON",
    "PRAGMA busy_timeout = 15000",
    # Half a megabyte of pages a connection, where SQLite would keep two: those of a dozen connections, which fill at
    # rush hours one after the other, would make most of what a server still grew by. Whatever commits has the others
    # read anew anyway, and the system keeps the file in memory besides.
    "PRAGMA cache_size = -512",
)


def open_engine(url: str) -> Engine:
    """Engine for a store address; the tables are made by the migrations, not here."""
    if not url.startswith("sqlite"):
        return _server_engine(url)
    # A request may need a second connection while it holds one, so that nobody may have to wait for a connection;
    # the server's threads bound how many there are. The one given back last is lent first, so that those needed at
    # rush hours only do not fill their pages in turn.
    engine = create_engine(
        url, connect_args={"check_same_thread": False}, pool_size=8, max_overflow=-1, pool_use_lifo=True
    )

    @event.listens_for(engine, "connect")
    def _prepare(connection: Any, _record: Any) -> None:
        connection.isolation_level = None  # the driver would commit before table changes; `begin` below opens it
        for pragma in _PRAGMAS:
            connection.execute(pragma)
        # SQLite's own lower() leaves all letters beyond a to z as they are; names are compared with capitals aside
        connection.create_function("lower", 1, _lower, deterministic=True)

    @event.listens_for(engine, "begin")
    def _begin(connection: Any) -> None:
        # A transaction that reads first and writes later is refused at once if another wrote in between; one that
        # takes its turn as a writer from the start waits instead.
        writes = connection.get_execution_options().get("writes", False)
        connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")

    return engine


def _server_engine(url: str) -> Engine:
    # As on SQLite nobody may have to wait for a connection while holding one. A server takes a limited number of
    # connections (100 unless it is told otherwise), so the web floor lets fewer threads work there.
    engine = create_engine(url, pool_pre_ping=True, pool_size=8, max_overflow=-1)

    @event.listens_for(engine, "begin")
    def _take_write_lock(connection: Any) -> None:
        # Summaries and pools rest on the whole bench, so that writers take turns here as they do on SQLite.
        if connection.get_execution_options().get("writes", False):
            connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({WRITE_LOCK_KEY})")

    return engine


def _lower(text: Any) -> Any:
    return text.lower() if isinstance(text, str) else text


@contextmanager
def session_scope(engine: Engine, *, writes: bool = True) -> Iterator[Session]:
    """A session that commits at the end of the block and rolls back on an error; the one place that commits.

    writes : False for a block that only reads, which then never waits for a writer
    """
    bound = engine.execution_options(writes=writes)
    if not writes and engine.dialect.name != "sqlite":
        # a page reads several times, and each time the same state, as a transaction of SQLite does by itself
        bound = bound.execution_options(isolation_level="REPEATABLE READ")
    with Session(bound, expire_on_commit=False) as session, session.begin():
        yield session
