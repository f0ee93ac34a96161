"""A filled store as written by an earlier version."""

import sqlite3
from contextlib import closing
from pathlib import Path

from tests.storage.migrated import migrate_to


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
        store.commit()
        store.execute("PRAGMA journal_mode = WAL")


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
