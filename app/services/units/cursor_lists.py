"""Lists for scripts, a page at a time after a cursor: units, rooms, loggers, smoke sources, tariffs, oldest first."""

from dataclasses import dataclass
from typing import Any, Generic, TypeVar

from sqlalchemy import Select, select
from sqlalchemy.orm import InstrumentedAttribute, Session

from app.errors import InvalidValue
from app.services.units.with_parts import UnitWithParts, with_parts
from app.storage.models.bench import Tariff
from app.storage.models.loggers import Logger, SmokeSource
from app.storage.models.rooms import Room
from app.storage.models.units_under_test import UnitUnderTest
from app.storage.words_in_columns import contains_word

MOST_ROWS = 500
Row = TypeVar("Row")


@dataclass(frozen=True, slots=True)
class ListPart(Generic[Row]):
    """A page of a list. `next_cursor` requests the next one; None at the end."""

    rows: tuple[Row, ...]
    next_cursor: str | None


def list_part(
    session: Session,
    statement: Select[Any],
    id_column: InstrumentedAttribute[int],
    limit: int,
    cursor: str | None,
    *,
    newest_first: bool = False,
) -> ListPart[Any]:
    """At most `limit` rows after `cursor`, which comes from the previous page."""
    if not 1 <= limit <= MOST_ROWS:
        raise InvalidValue(f"The limit is {limit}; enter a whole number from 1 to {MOST_ROWS}.", field="limit")
    if cursor is not None:
        after = _position(cursor)
        statement = statement.where(id_column < after if newest_first else id_column > after)
    order = id_column.desc() if newest_first else id_column.asc()
    found = session.scalars(statement.order_by(order).limit(limit + 1)).all()
    kept = tuple(found[:limit])
    return ListPart(kept, str(kept[-1].id) if len(found) > limit else None)


def _position(cursor: str) -> int:
    if not cursor.isdecimal() or len(cursor) > 15:
        raise InvalidValue(
            f"The cursor is {cursor[:40]!r}; use the next_cursor of an earlier response, or none for the start.",
            field="cursor",
        )
    return int(cursor)


def list_rooms(session: Session, limit: int = MOST_ROWS, cursor: str | None = None) -> ListPart[Room]:
    return list_part(session, select(Room), Room.id, limit, cursor)


def list_loggers(session: Session, limit: int = MOST_ROWS, cursor: str | None = None) -> ListPart[Logger]:
    return list_part(session, select(Logger), Logger.id, limit, cursor)


def list_smoke_sources(session: Session, limit: int = MOST_ROWS, cursor: str | None = None) -> ListPart[SmokeSource]:
    return list_part(session, select(SmokeSource), SmokeSource.id, limit, cursor)


def list_tariffs(session: Session, limit: int = MOST_ROWS, cursor: str | None = None) -> ListPart[Tariff]:
    return list_part(session, select(Tariff), Tariff.id, limit, cursor)


def list_units_with_parts(
    session: Session, limit: int = MOST_ROWS, cursor: str | None = None, *, search: str = "", trashed: bool = False
) -> ListPart[UnitWithParts]:
    """Units with settings, prices and consumables; `search` is in maker and model, case-insensitive."""
    lies = UnitUnderTest.trashed_at.is_not(None) if trashed else UnitUnderTest.trashed_at.is_(None)
    statement = select(UnitUnderTest).where(lies)
    if search.strip():
        name = UnitUnderTest.maker + " " + UnitUnderTest.model
        statement = statement.where(contains_word(name, search.strip().lower()))
    part = list_part(session, statement, UnitUnderTest.id, limit, cursor)
    return ListPart(with_parts(session, part.rows), part.next_cursor)
