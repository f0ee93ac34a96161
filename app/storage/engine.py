"""Opens the database. Each SQLite connection gets foreign keys, a write-ahead log and real transactions."""

import contextlib
import logging
import sqlite3
import threading
import time
from collections.abc import Callable, Iterator
from typing import Any

from sqlalchemy import Engine, NullPool, create_engine, event, text
from sqlalchemy.exc import DBAPIError
from sqlalchemy.orm import Session

from app.errors import HazefallError, OutcomeUnknown, StoreProblem

_LOG = logging.getLogger("hazefall.store")
WRITE_LOCK_KEY = 7_204_312  # any number, the same in every process: the advisory lock of writers on PostgreSQL
# How long a writer waits for others on SQLite, which lets them in without order; a page has to answer. Beside
# eight busy writers on a loaded machine, fifteen seconds can pass without a turn.
PAGE_WAITS_S, COMMAND_WAITS_S = 15.0, 120.0
_BUSY_TIMEOUT_MS, _LOG_AFTER_S = 200, 2.0
_BUSY = "Another program is writing to this bench."
PAUSES_S = (0.0, 0.5, 1.5, 3.0, 5.0)  # before each question after a lost commit
_PRAGMAS = (
    "PRAGMA journal_mode = WAL",
    # FULL writes each commit to the disk before it is acknowledged; with NORMAL a power cut could take back the last
    # ones. It costs about 4 ms a commit (measured on a virtual disk), and storing a trial takes some hundred.
    "PRAGMA synchronous = FULL",
    "PRAGMA foreign_keys = ON",
    # 1 MB of page cache per connection instead of SQLite's 2 MB: with a dozen connections the larger caches caused most
    # of a server's memory growth. Commits invalidate them anyway, and the operating system caches the file. With half
    # of it the ranking's query over 1,000 units takes two fifths longer.
    "PRAGMA cache_size = -1024",
)


def open_engine(url: str, *, answers_within_s: float | None = None) -> Engine:
    """Engine for a database address. The migrations create the tables, not this function.

    answers_within_s : how long a statement or a wait for a lock may take, for a page; None for a command, which a
    database server may keep waiting for any time
    """
    if not url.startswith("sqlite"):
        return _server_engine(url, answers_within_s)
    waits_s = COMMAND_WAITS_S if answers_within_s is None else min(answers_within_s, PAGE_WAITS_S)
    # A request may need a second connection while it holds one, so nobody may wait for a connection; the number of
    # server threads limits how many there are. Last in, first out, so that connections needed only at peak times do not
    # fill their caches.
    engine = create_engine(
        url, connect_args={"check_same_thread": False}, pool_size=8, max_overflow=-1, pool_use_lifo=True
    )

    @event.listens_for(engine, "connect")
    def _prepare(connection: Any, _record: Any) -> None:
        connection.isolation_level = None  # the driver would commit before DDL; `begin` below opens the transaction
        for pragma in (*_PRAGMAS, f"PRAGMA busy_timeout = {int(1000 * waits_s)}"):
            connection.execute(pragma)
        # SQLite's own lower() only handles a to z; names are compared case-insensitively
        connection.create_function("lower", 1, _lower, deterministic=True)

    @event.listens_for(engine, "begin")
    def _begin(connection: Any) -> None:
        # A transaction that reads first and writes later fails at once if another wrote in between; one that takes the
        # write lock from the start waits instead.
        writes = connection.get_execution_options().get("writes", False)
        if writes and answers_within_s is None:
            _begin_in_turn(connection, waits_s)
        else:
            connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")

    return engine


def _begin_in_turn(connection: Any, waits_s: float) -> None:
    """Begins to write as soon as other writers allow, and says when that takes a while.

    It asks again and again: Python sees Ctrl-C between two questions, not while SQLite waits by itself.
    """
    driver: sqlite3.Connection = connection.connection.driver_connection
    began, was_logged = time.monotonic(), False
    driver.execute(f"PRAGMA busy_timeout = {_BUSY_TIMEOUT_MS}")
    try:
        while (waited_s := time.monotonic() - began) < waits_s:
            try:
                driver.execute("BEGIN IMMEDIATE")
            except sqlite3.OperationalError as error:
                if error.sqlite_errorcode & 0xFF != sqlite3.SQLITE_BUSY:
                    break
            else:
                return
            if not was_logged and waited_s > _LOG_AFTER_S:
                was_logged = True
                _LOG.warning("%s Waiting for it, for up to %d min; Ctrl-C stops.", _BUSY, round(waits_s / 60))
        connection.exec_driver_sql("BEGIN IMMEDIATE")  # its error is one of the engine
    finally:
        driver.execute(f"PRAGMA busy_timeout = {int(1000 * waits_s)}")


def read_only_engine(connect: Callable[[], sqlite3.Connection]) -> Engine:
    """Engine on a SQLite file that is only read; `connect` opens it."""
    engine = create_engine("sqlite://", creator=connect, poolclass=NullPool)

    @event.listens_for(engine, "connect")
    def _prepare(connection: Any, _record: Any) -> None:
        connection.create_function("lower", 1, _lower, deterministic=True)

    return engine


def _server_engine(url: str, answers_within_s: float | None) -> Engine:
    # As on SQLite, nobody may wait for a connection while holding one. A server accepts a limited number of connections
    # (100 by default), so the web floor uses fewer threads there.
    engine = create_engine(
        url, pool_pre_ping=True, pool_size=8, max_overflow=-1, connect_args=connection_options(answers_within_s)
    )
    if answers_within_s is not None:

        @event.listens_for(engine, "do_connect")
        def _connect(_dialect: Any, _record: Any, given: Any, named: Any) -> Any:
            from app.storage.timed_connection import TimedConnection  # loaded when used: only a server needs psycopg

            connection = TimedConnection.connect(*given, **named)
            connection.answers_within_s = answers_within_s
            return connection

    @event.listens_for(engine, "begin")
    def _take_write_lock(connection: Any) -> None:
        # Summaries and pools depend on the whole bench, so writers are serialised here as on SQLite.
        options = connection.get_execution_options()
        if options.get("writes", False):
            with contextlib.nullcontext() if answers_within_s is not None else log_long_wait():
                asked = f"SELECT pg_advisory_xact_lock({WRITE_LOCK_KEY}), CAST(pg_current_xact_id() AS text)"
                options.get("begun", []).append(connection.exec_driver_sql(asked).one()[1])

    return engine


@contextlib.contextmanager
def log_long_wait() -> Iterator[None]:
    """Says so where the block takes a while; a database server lets writers in by order, so a command only waits."""
    timer = threading.Timer(_LOG_AFTER_S, _LOG.warning, [f"{_BUSY} Waiting for it; Ctrl-C stops."])
    timer.daemon = True
    timer.start()
    try:
        yield
    finally:
        timer.cancel()


def connection_options(answers_within_s: float | None) -> dict[str, Any]:
    """Options of a connection to a database server: a server that is gone or stuck must not hold up a page for ever."""
    options: dict[str, Any] = {
        "connect_timeout": 10,
        "keepalives_idle": 30,
        "keepalives_interval": 10,
        "keepalives_count": 3,
        "tcp_user_timeout": 60_000,
    }
    if answers_within_s is not None:
        # the server gives up a little earlier than the client, because its message says more
        limit_ms = int(900 * answers_within_s)
        options["options"] = f"-c statement_timeout={limit_ms} -c lock_timeout={limit_ms}"
    return options


def _lower(text: Any) -> Any:
    return text.lower() if isinstance(text, str) else text


@contextlib.contextmanager
def session_scope(engine: Engine, *, writes: bool = True) -> Iterator[Session]:
    """A session that commits at the end of the block and rolls back on an error; the one place that commits.

    writes : False for a block that only reads, which then never waits for a writer
    """
    begun: list[str] = []  # ids of the transactions that the server began for this session
    bound = engine.execution_options(writes=writes, begun=begun)
    if not writes and engine.dialect.name != "sqlite":
        # a page reads several times and must see one state, as a SQLite transaction does by itself
        bound = bound.execution_options(isolation_level="REPEATABLE READ")
    with Session(bound, expire_on_commit=False) as session:
        session.begin()
        yield session
        session.flush()  # what fails before the commit has saved nothing
        try:
            session.commit()
        except DBAPIError as error:
            if not begun or not error.connection_invalidated:
                raise
            outcome = outcome_of_commit(engine, begun[-1])
            if outcome != "committed":
                raise _lost_commit(outcome) from error


def outcome_of_commit(engine: Engine, transaction_id: str) -> str:
    """What a database server says of a transaction whose commit was not answered: "committed", "aborted", or "" if it
    cannot be asked within some seconds. A server that lost a process restarts all of them first.
    """
    asked = text("SELECT pg_xact_status(CAST(CAST(:id AS text) AS xid8))")
    for pause_s in PAUSES_S:
        time.sleep(pause_s)
        with contextlib.suppress(DBAPIError), engine.connect() as connection:
            found = connection.scalar(asked, {"id": transaction_id})
            if found in ("committed", "aborted"):
                return str(found)
    return ""


def _lost_commit(outcome: str) -> HazefallError:
    lost = "The connection to the database was lost while the change was being saved."
    if outcome == "aborted":
        return StoreProblem(f"{lost} The database confirms that nothing was saved. Send it again.")
    return OutcomeUnknown(
        f"{lost} The database cannot be asked now whether it was saved. Look at the list before you send it again; a "
        "form, or a request with an Idempotency-Key, can be repeated and is saved only once."
    )
