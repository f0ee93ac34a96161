"""Opens the database. Each SQLite connection gets foreign keys, a write-ahead log and real transactions."""

import sqlite3
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

from sqlalchemy import Engine, NullPool, create_engine, event
from sqlalchemy.orm import Session

WRITE_LOCK_KEY = 7_204_312  # any number, the same in every process: the advisory lock of writers on PostgreSQL
_PRAGMAS = (
    "PRAGMA journal_mode = WAL",
    # FULL writes each commit to the disk before it is acknowledged; with NORMAL a power cut could take back the last
    # ones. It costs about 4 ms a commit (measured on a virtual disk), and storing a trial takes some hundred.
    "PRAGMA synchronous = FULL",
    "PRAGMA foreign_keys = ON",
    "PRAGMA busy_timeout = 15000",
    # 0.5 MB of page cache per connection instead of SQLite's 2 MB: with a dozen connections the larger caches caused
    # most of a server's memory growth. Commits invalidate them anyway, and the operating system caches the file.
    "PRAGMA cache_size = -512",
)


def open_engine(url: str) -> Engine:
    """Engine for a database address. The migrations create the tables, not this function."""
    if not url.startswith("sqlite"):
        return _server_engine(url)
    # A request may need a second connection while it holds one, so nobody may wait for a connection; the number of
    # server threads limits how many there are. Last in, first out, so that connections needed only at peak times do not
    # fill their caches.
    engine = create_engine(
        url, connect_args={"check_same_thread": False}, pool_size=8, max_overflow=-1, pool_use_lifo=True
    )

    @event.listens_for(engine, "connect")
    def _prepare(connection: Any, _record: Any) -> None:
        connection.isolation_level = None  # the driver would commit before DDL; `begin` below opens the transaction
        for pragma in _PRAGMAS:
            connection.execute(pragma)
        # SQLite's own lower() only handles a to z; names are compared case-insensitively
        connection.create_function("lower", 1, _lower, deterministic=True)

    @event.listens_for(engine, "begin")
    def _begin(connection: Any) -> None:
        # A transaction that reads first and writes later fails at once if another wrote in between; one that takes the
        # write lock from the start waits instead.
        writes = connection.get_execution_options().get("writes", False)
        connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")

    return engine


def read_only_engine(connect: Callable[[], sqlite3.Connection]) -> Engine:
    """Engine on a SQLite file that is only read; `connect` opens it."""
    engine = create_engine("sqlite://", creator=connect, poolclass=NullPool)

    @event.listens_for(engine, "connect")
    def _prepare(connection: Any, _record: Any) -> None:
        connection.create_function("lower", 1, _lower, deterministic=True)

    return engine


def _server_engine(url: str) -> Engine:
    # As on SQLite, nobody may wait for a connection while holding one. A server accepts a limited number of connections
    # (100 by default), so the web floor uses fewer threads there.
    engine = create_engine(url, pool_pre_ping=True, pool_size=8, max_overflow=-1)

    @event.listens_for(engine, "begin")
    def _take_write_lock(connection: Any) -> None:
        # Summaries and pools depend on the whole bench, so writers are serialised here as on SQLite.
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
        # a page reads several times and must see one state, as a SQLite transaction does by itself
        bound = bound.execution_options(isolation_level="REPEATABLE READ")
    with Session(bound, expire_on_commit=False) as session, session.begin():
        yield session
