"""The declarative base: named constraints, STRICT tables, one type for each Python type."""

from datetime import date, datetime
from typing import Any, ClassVar

from sqlalchemy import REAL, BigInteger, Double, Integer, LargeBinary, MetaData, Text
from sqlalchemy.orm import DeclarativeBase
from sqlalchemy.types import TypeEngine

from app.storage.column_types import Day, Flag, UtcTime

NAMES = {
    "ix": "ix_%(column_0_N_label)s",
    "uq": "uq_%(table_name)s_%(column_0_N_name)s",
    "ck": "ck_%(table_name)s_%(constraint_name)s",
    "fk": "fk_%(table_name)s_%(column_0_N_name)s_%(referred_table_name)s",
    "pk": "pk_%(table_name)s",
}
STRICT = {"sqlite_strict": True}
# SQLite's REAL has eight bytes, PostgreSQL's four; so DOUBLE PRECISION there.
RealNumber: TypeEngine[float] = Double().with_variant(REAL(), "sqlite")
# Billions of rows: more than PostgreSQL's INTEGER can count.
RowNumber: TypeEngine[int] = BigInteger().with_variant(Integer(), "sqlite")


class Base(DeclarativeBase):
    """Of the tables that the ranking reads, which is the first page.

    All others are mapped while the first page is answered, which takes as long as the page. Each file of theirs has a
    base of its own, `FileBase`: a query maps all of a registry, and so would meet a class whose relatives another
    thread is still loading; but nobody gets a file before it is loaded. They may refer to classes of `Base`, and none
    of `Base` to them.
    """

    metadata = MetaData(naming_convention=NAMES)
    type_annotation_map: ClassVar[dict[Any, Any]] = {
        str: Text(),
        int: Integer(),
        float: RealNumber,
        bytes: LargeBinary(),
        bool: Flag(),
        date: Day(),
        datetime: UtcTime(),
    }
