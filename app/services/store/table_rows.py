"""Table rows in batches: read in key order, written in bulk, and as text for a hash."""

import hashlib
from collections.abc import Generator, Iterator, Sequence
from typing import Any

from sqlalchemy import Connection, Integer, LargeBinary, Table, Text, text

from app.storage.column_types import PackedBytes
from app.storage.models.all_models import METADATA

_BATCH_SIZE = 2000


def rows_in_batches(connection: Connection, table: Table) -> Generator[Sequence[tuple[Any, ...]], None, None]:
    """All rows as stored, in key order, in batches from the driver's own cursor."""
    postgresql = connection.dialect.name != "sqlite"
    # byte order: a database otherwise sorts text by the rules of its language
    order = ", ".join(
        f'"{c.name}" COLLATE "C"' if postgresql and isinstance(c.type, Text) else f'"{c.name}"'
        for c in table.primary_key
    )
    driver: Any = connection.connection.driver_connection
    cursor = driver.cursor(name="hazefall_copy") if postgresql else driver.cursor()
    try:
        cursor.execute(f'SELECT {_names(table)} FROM "{table.name}" ORDER BY {order}')
        # a raw file may be large: one at a time
        batch = 1 if any(isinstance(c.type, LargeBinary | PackedBytes) for c in table.columns) else _BATCH_SIZE
        while rows := cursor.fetchmany(batch):
            yield rows
    finally:
        cursor.close()


def write_batches(connection: Connection, table: Table, batches: Iterator[Sequence[tuple[Any, ...]]]) -> None:
    driver: Any = connection.connection.driver_connection
    if connection.dialect.name == "sqlite":
        marks = ", ".join("?" for _ in table.columns)
        for rows in batches:
            driver.executemany(f'INSERT INTO "{table.name}" ({_names(table)}) VALUES ({marks})', rows)
        return
    with driver.cursor() as cursor, cursor.copy(f'COPY "{table.name}" ({_names(table)}) FROM STDIN') as into:
        for rows in batches:
            for row in rows:
                into.write_row(row)


def _names(table: Table) -> str:
    return ", ".join(f'"{column.name}"' for column in table.columns)


def as_text(rows: Sequence[tuple[Any, ...]]) -> bytes:
    """The rows as text for the hash: a file by its own hash, and zero without the sign that SQLite drops."""
    plain = [
        tuple(hashlib.sha256(v).hexdigest() if isinstance(v, bytes) else v for v in row)
        if any(isinstance(v, bytes) for v in row)
        else tuple(row)
        for row in rows
    ]
    return repr(plain).replace("-0.0,", "0.0,").replace("-0.0)", "0.0)").encode("utf-8", "surrogatepass")


def set_sequences(connection: Connection) -> None:
    """Sets the id sequences past the copied ids on PostgreSQL, and updates the planner's statistics."""
    if connection.dialect.name == "sqlite":
        return
    for table in METADATA.sorted_tables:
        key = list(table.primary_key)
        if len(key) == 1 and isinstance(key[0].type, Integer):
            connection.execute(
                text(
                    f"SELECT setval(pg_get_serial_sequence('{table.name}', '{key[0].name}'), max({key[0].name})) "
                    f'FROM "{table.name}" HAVING count(*) > 0'
                )
            )
    connection.execute(text("ANALYZE"))
