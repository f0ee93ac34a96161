"""Tells whether anything in the store changed, without reading any of it."""

import threading
from collections.abc import Hashable

from sqlalchemy import Engine, text
from sqlalchemy.pool import PoolProxiedConnection


class ChangeDetector:
    """Gives a mark of the store's committed state. Two equal marks mean that nothing was committed between them.

    On SQLite a connection that never writes asks for its `data_version`, which moves with each commit of any other
    connection, of this process or another. On PostgreSQL the snapshot itself is the mark: equal snapshots see the
    same rows. Read the mark first and the data after it, in a transaction begun after it; data kept with that mark
    is then never older than the mark says.
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
                self._connection.detach()  # it stays open, so it must not take a place of the pool
            cursor = self._connection.cursor()
            try:
                cursor.execute("PRAGMA data_version")
                row = cursor.fetchone()
            finally:
                cursor.close()
        return int(row[0]) if row else None

    def close(self) -> None:
        """Closes the watching connection; a later `mark` opens another, whose marks count anew."""
        with self._lock:
            if self._connection is not None:
                self._connection.close()
                self._connection = None
