"""Copies a bench to another database: every row in one transaction, verified by reading back."""

import hashlib
import tempfile
from collections.abc import Iterator, Sequence
from contextlib import closing, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine, Table, delete, func, make_url, select
from sqlalchemy.exc import DBAPIError

from app.bundled_files import bundled_folder
from app.errors import AlreadyStored, InvalidValue, StoreProblem
from app.services.store.open import open_store, refuse_unfit_address, sqlite_file, stored_revision
from app.services.store.problems import store_problem_from
from app.services.store.progress import OnProgress, no_progress
from app.services.store.revisions import read_store_revisions
from app.services.store.table_rows import as_text, rows_in_batches, set_sequences, write_batches
from app.settings import Settings, sqlite_url
from app.storage.engine import open_engine
from app.storage.models.all_models import METADATA
from app.storage.models.bench import UnitChanges
from app.storage.models.logs import StagedFile, StagedPiece

# All tables except the one that the database maintains itself, which counts its own changes, and uploads that wait for
# confirmation, which are no part of the bench.
_LEFT_OUT = {model.__table__ for model in (UnitChanges, StagedFile, StagedPiece)}
_COPIED = tuple(table for table in METADATA.sorted_tables if table not in _LEFT_OUT)


@dataclass(frozen=True, slots=True)
class CopiedStore:
    """Result of a copy: rows of each table, and the SHA-256 of all of it as read back.

    changed_meanwhile : the source changed after the copy began; those changes are not in it
    """

    source: str
    target: str
    rows: dict[str, int]
    sha256: str
    changed_meanwhile: bool


def copy_store(source: str, target: str, on_progress: OnProgress | None = None) -> CopiedStore:
    """Copies the bench at `source` into the empty store at `target`; each is a folder, a SQLite file or an address.

    Every row of every table is copied, including the record of changes and the accounts. The rows are read back
    and compared with the source by number and hash before anything is committed.
    Raises InvalidValue for an invalid place, AlreadyStored where the target holds something, StoreProblem where
    the source is of another version or the copy differs.
    """
    progress = on_progress or no_progress
    source_url, target_url = store_address(source), store_address(target)
    if source_url == target_url:
        raise InvalidValue(f"{source} and {target} are the same store. Choose another target.")
    _refuse_unfit_source(source_url)
    reading = open_engine(source_url)
    try:
        with _target_store(target_url) as writing, _one_state(reading) as held, _one_change(writing) as filled:
            _refuse_filled(filled, target_url)
            counted = {table.name: _count(held, table) for table in _COPIED}
            counter = _Counter(2 * sum(counted.values()), progress)
            filled.execute(delete(METADATA.tables["bench"]))  # the source's row replaces it
            read = {t.name: _copy_table(held, filled, t, counter) for t in _COPIED}
            found = {t.name: _digest(filled, t, counter) for t in _COPIED}
            _refuse_differences(counted, read, found)
            set_sequences(filled)
        return CopiedStore(
            source=shown_address(source_url),
            target=shown_address(target_url),
            rows=counted,
            sha256=hashlib.sha256("".join(digest for _, digest in found.values()).encode()).hexdigest(),
            changed_meanwhile=_changes(reading) != counted["changes"],
        )
    finally:
        reading.dispose()


def store_address(place: str) -> str:
    """Database address of a place: an address, a SQLite file, or a folder that contains one.

    >>> store_address("postgresql://desk@localhost/bench")
    'postgresql://desk@localhost/bench'
    """
    if "://" in place:
        refuse_unfit_address(place)
        return place
    path = Path(place).expanduser().resolve()
    return sqlite_url(path if path.suffix == ".sqlite" else path / "bench.sqlite")


def shown_address(url: str) -> str:
    """The address without its password, or the path of a SQLite file."""
    path = sqlite_file(url)
    return str(path) if path else make_url(url).render_as_string(hide_password=True)


def _refuse_unfit_source(url: str) -> None:
    where, path = shown_address(url), sqlite_file(url)
    if path is not None and not path.exists():
        raise InvalidValue(f"There is no store {where}. Give the folder, the file or the URL of a bench.")
    newest = read_store_revisions(bundled_folder("migrations")).newest
    found = stored_revision(url, where)
    if found is None:
        raise InvalidValue(f"{where} is not a bench. Give the folder, the file or the URL of one.")
    if found != newest:
        raise StoreProblem(
            f"{where} has version {found}, but this program copies version {newest}. Update it first: hazefall check "
            "does this, after a backup."
        )


@contextmanager
def _target_store(url: str) -> Iterator[Engine]:
    """The target store, with its tables created if needed."""
    with tempfile.TemporaryDirectory() as folder:  # not used by a database server
        path = sqlite_file(url)
        engine = open_store(Settings(path.parent if path else Path(folder), database_url=url))
        try:
            yield engine
        finally:
            engine.dispose()


@contextmanager
def _one_state(engine: Engine) -> Iterator[Connection]:
    """A connection that sees one consistent state, whatever others write."""
    level = {} if engine.dialect.name == "sqlite" else {"isolation_level": "REPEATABLE READ"}
    with engine.connect().execution_options(**level) as connection, connection.begin():
        connection.execute(select(METADATA.tables["bench"].c.id))  # the snapshot begins with the first read
        yield connection


@contextmanager
def _one_change(engine: Engine) -> Iterator[Connection]:
    """One transaction for the copy: all or nothing."""
    try:
        with engine.execution_options(writes=True).begin() as connection:
            yield connection
    except DBAPIError as error:
        raise store_problem_from(error, "The copy") or StoreProblem(
            f"The copy could not be written: {_first_line(error)}. Nothing was saved in it."
        ) from error


def _refuse_filled(connection: Connection, url: str) -> None:
    held = {table.name: _count(connection, table) for table in _COPIED if table.name != "bench"}
    full = [f"{number} {name.replace('_', ' ')}" for name, number in held.items() if number]
    if full:
        raise AlreadyStored(
            f"{shown_address(url)} is not empty: it holds {', '.join(full[:4])}{' and more' if full[4:] else ''}. A "
            "bench can only be copied into an empty store. Create another database, or choose another folder."
        )


def _changes(engine: Engine) -> int:
    """Number of changes: every change of a bench adds a row to its record."""
    with engine.connect() as connection:
        return _count(connection, METADATA.tables["changes"])


def _count(connection: Connection, table: Table) -> int:
    return connection.scalar(select(func.count()).select_from(table)) or 0


class _Counter:
    """Progress: rows done, of all rows to write and read back."""

    def __init__(self, total: int, progress: OnProgress) -> None:
        self.done, self.total, self.progress = 0, total, progress

    def add(self, rows: int, what: str) -> None:
        self.done += rows
        self.progress(self.done, self.total, what)


def _copy_table(source: Connection, target: Connection, table: Table, counter: _Counter) -> tuple[int, str]:
    """Copies all rows of a table and returns their number and hash as read."""
    total, digest = 0, hashlib.sha256()

    def batches(read: Iterator[Sequence[tuple[Any, ...]]]) -> Iterator[Sequence[tuple[Any, ...]]]:
        nonlocal total
        for rows in read:
            total += len(rows)
            digest.update(as_text(rows))
            yield rows
            counter.add(len(rows), f"Copying {table.name.replace('_', ' ')}")

    try:
        with closing(rows_in_batches(source, table)) as read:  # close the cursor before the connection
            write_batches(target, table, batches(read))
    except (source.dialect.loaded_dbapi.Error, target.dialect.loaded_dbapi.Error, UnicodeError) as error:
        raise store_problem_from(error, "The copy") or StoreProblem(
            f"The table {table.name} could not be copied: {_first_line(error)}. Nothing was saved in the copy."
        ) from error
    return total, digest.hexdigest()


def _digest(connection: Connection, table: Table, counter: _Counter) -> tuple[int, str]:
    total, digest = 0, hashlib.sha256()
    for rows in rows_in_batches(connection, table):
        total += len(rows)
        digest.update(as_text(rows))
        counter.add(len(rows), f"Reading back {table.name.replace('_', ' ')}")
    return total, digest.hexdigest()


def _refuse_differences(
    counted: dict[str, int], read: dict[str, tuple[int, str]], found: dict[str, tuple[int, str]]
) -> None:
    for name, number in counted.items():
        if not number == read[name][0] == found[name][0]:
            raise StoreProblem(
                f"The table {name} holds {number} rows, and {found[name][0]} were read back from the copy. Nothing "
                "was saved in it. Run hazefall check on the source, and try again."
            )
        if read[name][1] != found[name][1]:
            raise StoreProblem(
                f"The rows of the table {name} read back from the copy are not those of the source. Nothing was saved "
                "in it. Run hazefall check on the source, and try again."
            )


def _first_line(error: BaseException) -> str:
    return str(getattr(error, "orig", None) or error).strip().splitlines()[0].rstrip(".")
