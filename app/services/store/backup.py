"""Backups of the store: made and verified while it is in use; restoring never overwrites without being asked."""

import re
import shutil
import sqlite3
import time
from contextlib import closing, suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from glob import escape
from pathlib import Path

from app.errors import AlreadyStored, InvalidValue, StoreProblem
from app.services.store.online_copy import can_write, connect_to_read, copy_pages
from app.services.store.open import sqlite_file, stored_revision
from app.services.store.problems import file_problem_from, store_problem_from
from app.services.store.progress import OnProgress, no_progress
from app.settings import Settings, sqlite_url
from app.storage.durable_files import put_in_place, unfinished_beside

WAIT_FOR_STORE_S = 5.0
_CUT_OFF_AFTER_S = 24 * 3600.0
_COUNTED = ("units_under_test", "trials", "logs", "raw_files", "channel_results", "changes")


@dataclass(frozen=True, slots=True)
class StoreCopy:
    """A verified backup: path, size, and row counts of the main tables."""

    path: Path
    size_bytes: int
    rows: dict[str, int]


def backup_store(
    settings: Settings, target: Path | None = None, on_progress: OnProgress | None = None, now: datetime | None = None
) -> StoreCopy:
    """Copies the store with SQLite's online backup, while other processes go on reading and writing.

    target : file or folder; None for `backups/` in the data folder
    Raises StoreProblem where there is no SQLite store or the copy fails its check, AlreadyStored where the target
    exists.
    """
    source = _sqlite_store(settings)
    if not source.exists():
        raise StoreProblem(f"There is no store {source}, so there is nothing to copy. Choose the folder with --data.")
    _refuse_unreadable(source)
    path = _target(settings, target, now or datetime.now(UTC))
    progress = on_progress or no_progress
    unfinished = unfinished_beside(path)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        _remove_left_behind(path)
        _discard(unfinished)
        unfinished.touch()  # which says why it cannot be written, as SQLite does not
        with closing(connect_to_read(source)) as store, closing(sqlite3.connect(unfinished)) as copy:
            copy_pages(store, copy, progress)
            copy.execute("PRAGMA journal_mode = DELETE")  # a single file
        rows = verify_copy(unfinished)
        put_in_place(unfinished, path)
    except OSError as error:
        raise file_problem_from(error, str(path)) or StoreProblem(
            f"The copy {path} could not be written: {error.strerror}. Choose another place for it."
        ) from error
    except sqlite3.Error as error:
        raise store_problem_from(error, str(path)) or StoreProblem(
            f"The copy {path} could not be written: {error}. Choose another place for it."
        ) from error
    finally:
        _discard(unfinished)
    return StoreCopy(path, path.stat().st_size, rows)


def restore_store(settings: Settings, copy: Path, *, overwrite: bool = False) -> StoreCopy:
    """Restores a backup as the store of the data folder; the previous store stays beside it.

    Raises AlreadyStored where a store exists and overwriting was not requested, StoreProblem where the copy is
    missing or damaged, or the current store is in use.
    """
    target = _sqlite_store(settings)
    if not copy.is_file():
        raise InvalidValue(f"There is no file {copy}. Give the path of a copy that `hazefall backup` made.")
    rows = verify_copy(copy)
    if target.exists() and not overwrite:
        raise AlreadyStored(
            f"{target} already exists and would be replaced. Use --overwrite to replace it; the current store is then "
            "kept beside it."
        )
    target.parent.mkdir(parents=True, exist_ok=True)
    new = unfinished_beside(target)
    try:
        _remove_left_behind(target)
        _discard(new)
        with closing(connect_to_read(copy)) as source, closing(sqlite3.connect(new)) as store:
            source.backup(store)
        stored_revision(sqlite_url(new), str(copy))  # a backup that cannot be opened is not restored
        if target.exists():
            _keep_beside(target)
        else:
            _put_log_aside(target)
        put_in_place(new, target)  # atomic: a server that starts meanwhile would otherwise create an empty store
    except BaseException:  # the disk is full, or a server uses the store
        _discard(new)
        raise
    return StoreCopy(target, target.stat().st_size, rows)


def _discard(unfinished: Path) -> None:
    """Removes an unfinished copy with the journal that SQLite leaves beside it on a full disk."""
    for path in (unfinished, unfinished.with_name(f"{unfinished.name}-journal")):
        if path.exists():  # on a disk that is read-only even the removal of nothing fails
            path.unlink()


def verify_copy(path: Path) -> dict[str, int]:
    """Integrity and references of a SQLite file, and row counts of its main tables. Raises StoreProblem if broken."""
    try:
        with closing(_connect_to_copy(path)) as connection:
            found = [line for row in connection.execute("PRAGMA integrity_check") for line in row[0].splitlines()]
            if found != ["ok"]:
                faults = [line for line in found if not line.startswith("***")]  # "*** in database main ***"
                more = f" and {len(faults) - 1} more faults" if len(faults) > 1 else ""
                raise StoreProblem(f"{path} is damaged ({faults[0].strip(' .')}{more}). Use another copy.")
            # SQLite reads a last page that is cut off as if it ended in zeros
            if path.stat().st_size % connection.execute("PRAGMA page_size").fetchone()[0]:
                raise StoreProblem(f"{path} is damaged or cut off: its last page is incomplete. Use another copy.")
            broken = connection.execute("PRAGMA foreign_key_check").fetchall()
            if broken:
                raise StoreProblem(
                    f"{path} holds {len(broken)} rows that refer to a missing row, the first in table "
                    f"{broken[0][0]}. Use another copy."
                )
            tables = {row[0] for row in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}
            if "alembic_version" not in tables:
                raise StoreProblem(f"{path} is not a bench store: it has no store version. Use another file.")
            return {
                name: connection.execute(f"SELECT count(*) FROM {name}").fetchone()[0]
                for name in _COUNTED
                if name in tables
            }
    except sqlite3.Error as error:
        if "malformed" in str(error) or "not a database" in str(error):
            raise StoreProblem(
                f"{path} is damaged or cut off ({error}), so it cannot be restored. Nothing was changed. Use another "
                "copy; copies made before each migration are beside the store."
            ) from error
        raise store_problem_from(error, str(path)) or StoreProblem(
            f"{path} cannot be read as a store: {error}. Use another file."
        ) from error


def _connect_to_copy(path: Path) -> sqlite3.Connection:
    """A connection that leaves the copy as it is, also one that a server wrote, on a mounted snapshot."""
    if not can_write(path.parent):
        return connect_to_read(path)
    return sqlite3.connect(f"{path.resolve().as_uri()}?mode=ro", uri=True)


def _sqlite_store(settings: Settings) -> Path:
    path = sqlite_file(settings.store_url)
    if path is None:
        raise StoreProblem(
            "The bench is on a database server, which has its own backup tools (pg_dump, pg_restore). Use these, or "
            "choose a folder with --data."
        )
    return path


def _target(settings: Settings, target: Path | None, now: datetime) -> Path:
    name = f"bench-{now:%Y%m%d-%H%M%S}.sqlite"
    path = settings.data_folder / "backups" / name if target is None else target / name if target.is_dir() else target
    if path.exists():
        raise AlreadyStored(f"{path} already exists and is not overwritten. Choose another name for the copy.")
    return path


def _remove_left_behind(path: Path) -> None:
    """Removes files of interrupted backups and restores, except one that may still be running."""
    oldest = time.time() - _CUT_OFF_AFTER_S
    for name in ("bench-*.sqlite", "scheduled-*.sqlite", escape(path.name)):
        for file in path.parent.glob(f"{name}.*unfinished*"):
            ours = re.search(r"\.sqlite\.(\d+\.)?unfinished(-journal)?$", file.name)
            with suppress(FileNotFoundError):  # its process has finished
                if ours and file.stat().st_mtime < oldest:
                    file.unlink()


def _refuse_unreadable(store: Path) -> None:
    """Rejects a locked or damaged store before the backup begins, which would wait for ever for a lock."""
    try:
        with closing(connect_to_read(store, WAIT_FOR_STORE_S)) as connection:
            connection.execute("SELECT count(*) FROM sqlite_master").fetchone()
    except sqlite3.Error as error:
        raise store_problem_from(error, str(store)) or StoreProblem(
            f"{store} cannot be read as a store: {error}. Run `hazefall check` to see what is wrong."
        ) from error


def _keep_beside(store: Path) -> None:
    """Gives the store a second name, after merging its write-ahead log.

    A damaged store stays as it is, with its write-ahead log beside it: replacing it is what a backup is for.
    """
    kept = _name_of_replaced(store)
    log, index = _log_and_index(store)
    kept_log = kept.with_name(f"{kept.name}-wal")
    if log.exists():
        shutil.copyfile(log, kept_log)  # SQLite removes the log of a file that is not a database
    damaged = False
    try:
        damaged = not _take_in_log(store)
    finally:
        if not damaged:
            kept_log.unlink(missing_ok=True)
    try:
        kept.hardlink_to(store)
    except OSError:  # a file system without hard links
        unfinished = kept.with_name(f"{kept.name}.unfinished")
        shutil.copyfile(store, unfinished)
        put_in_place(unfinished, kept)
    log.unlink(missing_ok=True)
    index.unlink(missing_ok=True)


def _put_log_aside(store: Path) -> None:
    """Renames the write-ahead log of a store that was removed; SQLite would apply it to the restored one."""
    log, index = _log_and_index(store)
    if log.exists():
        log.rename(f"{_name_of_replaced(store)}-wal")
    index.unlink(missing_ok=True)


def _name_of_replaced(store: Path) -> Path:
    return store.with_name(f"{store.name}.replaced-{datetime.now(UTC):%Y%m%d-%H%M%S-%f}")


def _log_and_index(store: Path) -> tuple[Path, Path]:
    return store.with_name(f"{store.name}-wal"), store.with_name(f"{store.name}-shm")


def _take_in_log(store: Path) -> bool:
    """Merges the write-ahead log into the store; False if it is damaged. Raises StoreProblem if it is locked."""
    try:
        with closing(sqlite3.connect(store, timeout=WAIT_FOR_STORE_S)) as connection:
            connection.execute("PRAGMA locking_mode = EXCLUSIVE")
            connection.execute("BEGIN EXCLUSIVE")
            connection.execute("ROLLBACK")
            connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    except sqlite3.OperationalError as error:
        raise store_problem_from(error, str(store)) or StoreProblem(
            f"{store} is in use: {error}. Stop the server and try again."
        ) from error
    except sqlite3.DatabaseError:
        return False
    return True
