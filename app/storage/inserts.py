"""Inserts that are built once, because building the statement takes longer than running it for a few rows."""

from functools import cache

from sqlalchemy import Insert, insert
from sqlalchemy.orm import DeclarativeBase


@cache
def insert_into(table: type[DeclarativeBase], *returned: str) -> Insert:
    """Insert of rows of a table; returned : names of the columns that it returns of each row.

    >>> from app.storage.models.bench import Change
    >>> str(insert_into(Change, "id")).split()[-2:]
    ['RETURNING', 'changes.id']
    """
    statement = insert(table)
    return statement.returning(*(getattr(table, name) for name in returned)) if returned else statement
