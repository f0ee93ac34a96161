"""A filled store as written by an earlier version."""

import sqlite3
from contextlib import closing
from pathlib import Path

from app.storage.column_types import PackedBytes
from tests.storage.migrated import migrate_to

PACKED_SINCE = "0037"  # the revision from which on raw files are compressed


def make_older_store(present: Path, older: Path, revision: str) -> None:
    """Fills a store of an earlier revision with the rows of a present one, as far as it has their columns."""
    migrate_to(older, revision)
    with closing(sqlite3.connect(older)) as store:
        store.execute("ATTACH ? AS present", (str(present),))
        for table in _tables(store, "main"):
            if table == "alembic_version":
                continue
            shared = [name for name in _columns(store, "main", table) if name in _columns(store, "present", table)]
            columns = ", ".join(f'"{name}"' for name in shared)
            store.execute(f'DELETE FROM main."{table}"')
            store.execute(f'INSERT INTO main."{table}" ({columns}) SELECT {columns} FROM present."{table}"')
        if revision < PACKED_SINCE:
            _unpack_raw_files(store)
        store.commit()
        store.execute("PRAGMA journal_mode = WAL")


def _unpack_raw_files(store: sqlite3.Connection) -> None:
    for sha256, stored in store.execute("SELECT sha256, content FROM raw_files").fetchall():
        content = PackedBytes().process_result_value(stored, None)
        store.execute("UPDATE raw_files SET content = ? WHERE sha256 = ?", (content, sha256))


def rows_of_each_table(path: Path) -> dict[str, int]:
    with closing(sqlite3.connect(path, timeout=30)) as store:
        return {name: store.execute(f'SELECT count(*) FROM "{name}"').fetchone()[0] for name in _tables(store, "main")}


def revision_of(path: Path) -> str:
    with closing(sqlite3.connect(path, timeout=30)) as store:
        return store.execute("SELECT version_num FROM alembic_version").fetchone()[0]


def _tables(store: sqlite3.Connection, schema: str) -> list[str]:
    question = (
        f"SELECT name FROM {schema}.sqlite_master WHERE type = 'table' AND name NOT LIKE 'sqlite_%' ORDER BY name"
    )
    return [row[0] for row in store.execute(question)]


def _columns(store: sqlite3.Connection, schema: str, table: str) -> list[str]:
    return [row[1] for row in store.execute(f'PRAGMA {schema}.table_info("{table}")')]
