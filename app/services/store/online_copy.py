"""Copies a SQLite file page by page while others use it, also from a folder that cannot be written."""

import os
import sqlite3
import tempfile
import time
from pathlib import Path

from app.errors import StoreProblem
from app.services.store.progress import OnProgress

_PAGES_A_STEP = 2000
_MOST_RESTARTS = 5  # each write of another program starts the copy anew; after these it is made in one step
_NOTHING_MOVES_S = 30.0


def can_write(folder: Path) -> bool:
    """Whether a file can be made in the folder; permissions alone do not tell of a read-only file system."""
    if not os.access(folder, os.W_OK):
        return False
    try:
        with tempfile.TemporaryFile(dir=folder):
            return True
    except OSError:
        return False


def connect_to_read(path: Path, timeout_s: float = 15.0) -> sqlite3.Connection:
    """A connection to a store. In a folder that cannot be written it leaves the files as they are.

    Raises StoreProblem where the last changes are in a write-ahead log that cannot be read there.
    """
    if can_write(path.parent):
        return sqlite3.connect(path, timeout=timeout_s, check_same_thread=False)
    log = path.with_name(f"{path.name}-wal")
    has_log = log.exists() and log.stat().st_size > 0
    # without a log the file is complete, and nobody can change it there
    connection = sqlite3.connect(
        f"{path.resolve().as_uri()}?{'mode=ro' if has_log else 'immutable=1'}",
        uri=True,
        timeout=timeout_s,
        check_same_thread=False,
    )
    try:
        connection.execute("SELECT count(*) FROM sqlite_master").fetchone()
    except sqlite3.OperationalError as error:
        connection.close()
        if not has_log:
            raise
        raise StoreProblem(
            f"{path} has changes in {log.name} that cannot be read in a folder without write permission ({error}). "
            "Copy the folder to a place that can be written, and use that copy."
        ) from error
    return connection


def copy_pages(source: sqlite3.Connection, target: sqlite3.Connection, progress: OnProgress) -> None:
    """Copies all pages as of one moment. Raises StoreProblem where nothing moves, such as behind a lock."""
    try:
        source.backup(target, pages=_PAGES_A_STEP, progress=_Watch(progress, _MOST_RESTARTS), sleep=0.05)
    except _RestartedOften:
        source.backup(target, pages=-1, progress=_Watch(progress, None), sleep=0.05)


class _RestartedOften(Exception):
    """Others write so often that the copy in steps never ends."""


class _Watch:
    """Follows a copy; SQLite itself would start it again, or wait for a lock, without end."""

    def __init__(self, progress: OnProgress, most_restarts: int | None) -> None:
        self._progress, self._most_restarts = progress, most_restarts
        self._left: int | None = None
        self._moved_at = time.monotonic()
        self._restarts = 0

    def __call__(self, _status: int, left: int, total: int) -> None:
        if left != self._left:
            self._restarts += self._left is not None and left > self._left
            self._left, self._moved_at = left, time.monotonic()
        if self._most_restarts is not None and self._restarts > self._most_restarts:
            raise _RestartedOften
        if time.monotonic() - self._moved_at > _NOTHING_MOVES_S:
            raise StoreProblem(
                f"The store could not be copied: no progress for {_NOTHING_MOVES_S:.0f} s, because another program "
                "holds a lock on it. Close that program and try again."
            )
        self._progress(total - left, total, "Copying the store")
