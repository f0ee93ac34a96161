"""Column types that work in STRICT SQLite tables and in PostgreSQL."""

from datetime import UTC, date, datetime
from typing import Any

from sqlalchemy import Dialect, Integer, Text
from sqlalchemy.types import TypeDecorator


class UtcTime(TypeDecorator[datetime]):
    """A time with its zone, stored as ISO 8601 text in UTC, so that text order is time order."""

    impl = Text
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> str | None:
        if value is None:
            return None
        if value.tzinfo is None:
            raise ValueError(f"The time {value.isoformat()} has no zone; a stored time needs one.")
        # not strftime, which writes the year 1 with one digit
        return f"{value.astimezone(UTC).replace(tzinfo=None).isoformat(timespec='microseconds')}Z"

    def process_result_value(self, value: Any, dialect: Dialect) -> datetime | None:
        return None if value is None else datetime.fromisoformat(value)


class Day(TypeDecorator[date]):
    """A calendar day, stored as ISO 8601 text."""

    impl = Text
    cache_ok = True

    def process_bind_param(self, value: date | None, dialect: Dialect) -> str | None:
        return None if value is None else value.isoformat()

    def process_result_value(self, value: Any, dialect: Dialect) -> date | None:
        return None if value is None else date.fromisoformat(value)


class Flag(TypeDecorator[bool]):
    """True or false, stored as 1 or 0."""

    impl = Integer
    cache_ok = True

    def process_bind_param(self, value: bool | None, dialect: Dialect) -> int | None:
        return None if value is None else int(value)

    def process_result_value(self, value: Any, dialect: Dialect) -> bool | None:
        return None if value is None else bool(value)
