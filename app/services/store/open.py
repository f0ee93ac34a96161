"""Opens the store: creates it, migrates an older one after a backup, rejects an unsuitable one."""

import re
import shutil
import sqlite3
import tempfile
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from urllib.parse import unquote

from sqlalchemy import Connection, Engine, NullPool, create_engine, event, insert, inspect, make_url, select, text
from sqlalchemy.exc import ArgumentError, DBAPIError

from app.bundled_files import bundled_folder
from app.errors import InvalidValue, StoreProblem
from app.services.store.online_copy import can_write, connect_to_read
from app.services.store.problems import store_problem_from
from app.services.store.progress import OnProgress, no_progress
from app.services.store.revisions import StoreRevisions, read_store_revisions
from app.settings import Settings
from app.storage.durable_files import put_in_place
from app.storage.engine import log_long_wait, open_engine, read_only_engine
from app.storage.models.bench import Bench
from app.storage.network_share import refuse_share

_LOCK_TIMEOUT_S = 10.0
_OLDEST_SERVER = 13  # the first with the transaction ids that change detection needs
# The last revision before version 0.2.0. A store there has the tables of the first revision and is marked so.
_BEFORE_FIRST = "0013"
_USE = "Use sqlite:///PATH or postgresql://USER@HOST/NAME."
_POSTGRESQL_LOCK = 7_204_311  # any number, the same in every process: one migrates, the others wait


def open_store(
    settings: Settings, on_progress: OnProgress | None = None, *, answers_within_s: float | None = None
) -> Engine:
    """Engine of a store at the newest revision.

    The data folder is created if needed. An older SQLite store is first copied to `bench.sqlite.before-<revision>`,
    then migrated in one transaction, which succeeds or changes nothing.
    Raises StoreProblem with what was found and what to do.
    """
    url = settings.store_url
    path = sqlite_file(url)
    where = str(path) if path else "The database"
    revisions = read_store_revisions(bundled_folder("migrations"))
    _make_folder(settings.data_folder)
    if path:
        refuse_share(path.parent)
        _refuse_unwritable(path)
    with _plain_errors(where):
        if path is None:
            _refuse_unfit_server(url, where)
        if _stored_revision(url, path, revisions, where) != revisions.newest:
            _migrate(url, path, revisions, where, on_progress or no_progress)
        return open_engine(url, answers_within_s=answers_within_s)


def open_store_to_read(settings: Settings) -> Engine:
    """Engine of a store in a folder that cannot be written; nothing there is changed.

    Raises StoreProblem where the store is of another version, because it cannot be migrated there.
    """
    path = sqlite_file(settings.store_url)
    if path is None or can_write(path.parent):
        return open_store(settings)
    newest = read_store_revisions(bundled_folder("migrations")).newest
    with _plain_errors(str(path)), closing(connect_to_read(path)) as connection:
        found = connection.execute("SELECT version_num FROM alembic_version").fetchone()
    if found is None or found[0] != newest:
        raise StoreProblem(
            f"{path} has the version {found[0] if found else 'none'}; this program needs {newest} and cannot migrate "
            "it in a folder without write permission. Copy the folder to a place that can be written."
        )
    return read_only_engine(lambda: connect_to_read(path))


def stored_revision(url: str, where: str) -> str | None:
    """Revision of a store, without changing it; None if there is none. Raises StoreProblem as `open_store`."""
    path = sqlite_file(url)
    with _plain_errors(where):
        if path is None:
            _refuse_unfit_server(url, where)
        return _stored_revision(url, path, read_store_revisions(bundled_folder("migrations")), where)


def sqlite_file(url: str) -> Path | None:
    """Path of a SQLite store; None for a database server."""
    return Path(unquote(url.removeprefix("sqlite:///"))) if url.startswith("sqlite:///") else None


def refuse_unfit_address(url: str) -> None:
    """Raises InvalidValue for what is not the address of a SQLite file or of a PostgreSQL database."""
    try:
        kind = "postgresql" if sqlite_file(url) is not None else make_url(url).drivername
    except (ArgumentError, ValueError):  # ValueError: of a port that is not a number
        shown = re.sub(r"(//?[^:/@]*):.*@", r"\1:***@", url)  # its cause names the password as well
        raise InvalidValue(f"{shown!r} is not a database URL. {_USE}") from None
    if kind not in ("postgresql", "postgresql+psycopg"):
        raise InvalidValue(f"The database URL begins with {kind}://, which is not supported. {_USE}")


@contextmanager
def _plain_errors(where: str) -> Iterator[None]:
    try:
        yield
    except (DBAPIError, sqlite3.Error) as error:
        raise store_problem_from(error, where) or StoreProblem(
            f"{where} cannot be opened: {getattr(error, 'orig', error)}. Run `hazefall check` to see what is wrong."
        ) from error


def _refuse_unfit_server(url: str, where: str) -> None:
    refuse_unfit_address(url)
    engine = create_engine(url, poolclass=NullPool)
    driver = engine.dialect.loaded_dbapi
    given, named = engine.dialect.create_connect_args(engine.url)
    try:
        # by the driver alone: it returns text in another encoding as bytes, which SQLAlchemy cannot handle
        with closing(driver.connect(*given, **named)) as connection:
            encoding = connection.info.parameter_status("server_encoding")
            version = connection.info.server_version // 10_000
    except driver.Error as error:
        raise store_problem_from(error, where) or StoreProblem(
            f"{where} cannot be opened: {str(error).strip()}. Correct its address in --database or "
            "HAZEFALL_DATABASE_URL."
        ) from error
    if encoding != "UTF8":
        raise StoreProblem(
            f"{where} uses the encoding {encoding}; UTF8 is required. Create another with: createdb --encoding=UTF8 "
            "--template=template0 NAME."
        )
    if version < _OLDEST_SERVER:
        raise StoreProblem(
            f"{where} is PostgreSQL {version}; {_OLDEST_SERVER} or newer is required. Update the database server."
        )


def _make_folder(folder: Path) -> None:
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryFile(dir=folder):
            pass
    except OSError as error:
        raise StoreProblem(
            f"The folder {folder} cannot be written: {error.strerror}. Give the program write permission, or choose "
            "another folder with --data or HAZEFALL_DATA."
        ) from error


def _refuse_unwritable(path: Path) -> None:
    if not path.exists():
        return
    try:
        with path.open("r+b"):
            pass
    except OSError as error:
        raise StoreProblem(
            f"The store {path} cannot be written: {error.strerror}. Give the program write permission for the file, "
            "or choose another folder with --data or HAZEFALL_DATA."
        ) from error


def _stored_revision(url: str, path: Path | None, revisions: StoreRevisions, where: str) -> str | None:
    """Current revision of the store, None if there is none; rejects a store that cannot be migrated."""
    if path is not None:
        found, tables = _sqlite_revision(path)
    else:
        engine = create_engine(url, poolclass=NullPool)
        with engine.connect() as connection:
            found, tables = _server_revision(connection)
    if found is None and tables:
        raise StoreProblem(
            f"{where} is a database of another program: it holds {tables} tables and no store version. "
            "Choose another folder with --data or HAZEFALL_DATA."
        )
    if found is not None and found < _BEFORE_FIRST:
        raise StoreProblem(
            f"{where} was made by a version before 0.2.0: its store version is {found}, and this program reads "
            f"{_BEFORE_FIRST} and newer. Open it once with the last 0.1.0, which brings it up to date, and then with "
            "this program."
        )
    if found is not None and found not in (_BEFORE_FIRST, *revisions.known):
        raise StoreProblem(
            f"{where} is from a newer Hazefall: its version is {found}, and this program knows up to "
            f"{revisions.newest}. Install the newer version, or open another folder."
        )
    return found


def _sqlite_revision(path: Path) -> tuple[str | None, int]:
    if not path.exists() or path.stat().st_size == 0:
        return None, 0
    # timeout: wait for a store that another program has locked, but not for ever
    with closing(sqlite3.connect(path, timeout=_LOCK_TIMEOUT_S)) as connection:
        names = {row[0] for row in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}
        if "alembic_version" not in names:
            return None, len(names)
        row = connection.execute("SELECT version_num FROM alembic_version").fetchone()
        return (row[0] if row else None), len(names) - 1


def _server_revision(connection: Connection) -> tuple[str | None, int]:
    names = set(inspect(connection).get_table_names())
    if "alembic_version" not in names:
        return None, len(names)
    return connection.scalar(text("SELECT version_num FROM alembic_version")), len(names) - 1


def _migrate(url: str, path: Path | None, revisions: StoreRevisions, where: str, on_progress: OnProgress) -> None:
    on_progress(0, 3, "Opening the store")
    engine = _migration_engine(url)
    with engine.begin() as connection:
        if path is None:
            with log_long_wait():
                connection.execute(text("SELECT pg_advisory_xact_lock(:key)"), {"key": _POSTGRESQL_LOCK})
        # Check again with the lock held: another process may have migrated while this one waited.
        found = _server_revision(connection)[0]
        if found == revisions.newest:
            return
        if path is not None and found is not None:
            on_progress(1, 3, f"Copying the store of version {found}")
            _copy_before(path, revisions.newest)
        on_progress(2, 3, f"Migrating the store to version {revisions.newest}")
        if found == _BEFORE_FIRST:
            connection.execute(text("UPDATE alembic_version SET version_num = :first"), {"first": revisions.first})
        _run_migrations(connection)
        if path is not None:
            _refuse_broken_references(connection, where)
        if connection.scalar(select(Bench.id)) is None:
            connection.execute(insert(Bench).values(id=1))
    engine.dispose()
    on_progress(3, 3, "The store is ready")


def _migration_engine(url: str) -> Engine:
    """Engine with foreign keys off: rebuilding a table would otherwise delete every row that refers to it."""
    if not url.startswith("sqlite"):
        return create_engine(url, poolclass=NullPool)
    engine = create_engine(url, poolclass=NullPool, connect_args={"timeout": _LOCK_TIMEOUT_S})

    @event.listens_for(engine, "connect")
    def _prepare(connection: sqlite3.Connection, _record: object) -> None:
        connection.isolation_level = None
        connection.execute("PRAGMA journal_mode = WAL")
        connection.execute("PRAGMA foreign_keys = OFF")

    @event.listens_for(engine, "begin")
    def _begin(connection: Connection) -> None:
        connection.exec_driver_sql("BEGIN IMMEDIATE")

    return engine


def _run_migrations(connection: Connection) -> None:
    from alembic import command  # loaded when used: most starts find the store up to date
    from alembic.config import Config

    config = Config()
    # a % in the path would be read as the start of a reference
    config.set_main_option("script_location", str(bundled_folder("migrations")).replace("%", "%%"))
    config.attributes["connection"] = connection
    command.upgrade(config, "head")


def _refuse_broken_references(connection: Connection, where: str) -> None:
    broken = connection.exec_driver_sql("PRAGMA foreign_key_check").fetchall()
    if broken:
        raise StoreProblem(
            f"{where} holds {len(broken)} rows that refer to a missing row, the first in table {broken[0][0]}. The "
            "migration was cancelled and the store is unchanged. Run `hazefall check` to list them."
        )


def _copy_before(path: Path, revision: str) -> Path:
    """Copies the store with SQLite's own backup, which includes the write-ahead log."""
    copy = _free_name(path.with_name(f"{path.name}.before-{revision}"))
    needed, free = path.stat().st_size, shutil.disk_usage(path.parent).free
    if free < needed:
        raise StoreProblem(
            f"The store {path} needs a backup copy of {needed / 1e6:.0f} MB before migration, but {free / 1e6:.0f} MB "
            "are free. Make room on the disk and start again."
        )
    unfinished = copy.with_name(f"{copy.name}.unfinished")
    for left_behind in path.parent.glob(f"{path.name}.before-*.unfinished*"):  # left by an interrupted start
        left_behind.unlink()
    with closing(sqlite3.connect(path)) as source, closing(sqlite3.connect(unfinished)) as target:
        source.backup(target)
    put_in_place(unfinished, copy)
    return copy


def _free_name(path: Path) -> Path:
    """The name, or with the next free number if it exists; no backup is overwritten."""
    number, candidate = 1, path
    while candidate.exists():
        number += 1
        candidate = path.with_name(f"{path.name}.{number}")
    return candidate
