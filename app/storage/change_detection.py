"""Detects whether anything in the store changed, without reading the data."""

import threading
from collections.abc import Hashable

from sqlalchemy import Engine, text
from sqlalchemy.pool import PoolProxiedConnection


class ChangeDetector:
    """Gives a version of the store's committed state. Equal versions mean that nothing was committed in between.

    On SQLite a read-only connection reads `data_version`, which changes with each commit of any other connection, of
    this process or another. On PostgreSQL the snapshot itself is the version: equal snapshots see the same rows. Read
    the version first and then the data, in a transaction begun after it; data cached under that version are then never
    older than the version.
    """

    def __init__(self, engine: Engine) -> None:
        self._engine = engine
        self._lock = threading.Lock()
        self._connection: PoolProxiedConnection | None = None

    def mark(self) -> Hashable:
        if self._engine.dialect.name != "sqlite":
            with self._engine.connect() as connection:
                return str(connection.scalar(text("SELECT CAST(pg_current_snapshot() AS text)")))
        with self._lock:
            if self._connection is None:
                self._connection = self._engine.raw_connection()
                self._connection.detach()  # it stays open, so it must not occupy a connection of the pool
            cursor = self._connection.cursor()
            try:
                cursor.execute("PRAGMA data_version")
                row = cursor.fetchone()
            finally:
                cursor.close()
        return int(row[0]) if row else None

    def close(self) -> None:
        """Closes the connection; a later `mark` opens another, whose versions start anew."""
        with self._lock:
            if self._connection is not None:
                self._connection.close()
                self._connection = None
