"""Writing the readings of a log to PostgreSQL, against the driver's `executemany`: `python -m tests.bench.copy_bench`.

Needs HAZEFALL_TEST_POSTGRESQL. Prints the times of the client and the server together, the best of some runs.
"""

import time
from collections.abc import Callable

import numpy as np
from sqlalchemy import Connection, text

from app.services.logs.readings import _parameters, _write_block
from app.storage.engine import open_engine
from app.storage.models.logs import VALUE_COLUMNS
from tests.conftest import POSTGRESQL, new_database

READINGS, CHANNELS, RUNS = 20_000, 6, 5

elapsed_s = np.arange(READINGS) * 10.0
levels = list(np.random.default_rng(1).random((CHANNELS, READINGS)))


def executemany(connection: Connection) -> None:
    """One row in each set of parameters, as the driver is meant to be used without COPY."""
    names = ", ".join(("id", "elapsed_s", *VALUE_COLUMNS[:CHANNELS]))
    statement = f"INSERT INTO readings ({names}) VALUES ({', '.join(['%s'] * (2 + CHANNELS))})"
    connection.exec_driver_sql(statement, _parameters(np.column_stack([np.arange(READINGS), elapsed_s, *levels])))


def copied(connection: Connection) -> None:
    _write_block(connection, 0, elapsed_s, levels)


def seconds(connection: Connection, write: Callable[[Connection], None]) -> float:
    """The best of some runs [s], each into an empty table."""
    took = []
    for _ in range(RUNS):
        connection.execute(text("TRUNCATE readings"))
        begun = time.perf_counter()
        write(connection)
        took.append(time.perf_counter() - begun)
    return min(took)


def main() -> None:
    columns = ", ".join(f"{name} float8" for name in VALUE_COLUMNS)
    with new_database() as url:
        engine = open_engine(url.replace("postgresql://", "postgresql+psycopg://"))
        with engine.connect() as connection:
            connection.execute(text(f"CREATE TABLE readings (id bigint PRIMARY KEY, elapsed_s float8, {columns})"))
            one, many = seconds(connection, copied), seconds(connection, executemany)
        engine.dispose()
    print(f"{READINGS} readings of {CHANNELS} channels: COPY {1000 * one:.0f} ms, executemany {1000 * many:.0f} ms")
    print(f"executemany takes {many / one:.1f} times as long")


if __name__ == "__main__":
    assert POSTGRESQL, "Name a server in HAZEFALL_TEST_POSTGRESQL."
    main()
