"""Writes many rows with one statement, without converting each value on its way."""

from collections.abc import Iterable, Sequence
from functools import lru_cache
from operator import itemgetter
from typing import Any

from sqlalchemy import Connection, Dialect, Insert, Update
from sqlalchemy.sql.compiler import SQLCompiler


def write_many(
    connection: Connection, statement: Insert | Update, names: Sequence[str], rows: Iterable[tuple[Any, ...]]
) -> None:
    """Executes an insert or update for many rows by the driver itself; SQLAlchemy's own loop over them takes as long
    as the database.

    statement : best the same object each time, because it is compiled once
    names : of the parameters, two or more, each row in their order; columns with a default are among them, and values
        are as they are stored, so a time is text
    """
    values = list(rows)
    if not values:
        return
    compiled = _compiled(statement, connection.dialect, tuple(names))
    if compiled.positional:
        order = [names.index(name) for name in compiled.positiontup or ()]
        connection.exec_driver_sql(str(compiled), list(map(itemgetter(*order), values)))
    else:
        connection.exec_driver_sql(str(compiled), [dict(zip(names, row, strict=True)) for row in values])


@lru_cache(maxsize=16)
def _compiled(statement: Insert | Update, dialect: Dialect, names: tuple[str, ...]) -> SQLCompiler:
    return statement.compile(dialect=dialect, column_keys=list(names))
