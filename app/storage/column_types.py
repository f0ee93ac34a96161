"""Column types that work in STRICT SQLite tables and in PostgreSQL."""

import zlib
from datetime import UTC, date, datetime
from typing import Any

import brotli
from sqlalchemy import Dialect, Integer, LargeBinary, Text
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


# What compressed content begins with, and of older stores and their migration.
_PACKED, _PACKED_BEFORE = b"\x00hfbrot1", b"\x00hfzlib1"
_TRIED_BYTES, _WORTH_IT = 65_536, 0.8
_WINDOW = 18  # of brotli, as a power of two: for logs larger ones are no better


class PackedBytes(TypeDecorator[bytes]):
    """Content of a file, compressed where that saves a fifth or more, and read as it was given, byte for byte.

    Brotli at its lowest quality: about as small as level 1 of zlib, in a third of the time for a large log.
    """

    impl = LargeBinary
    cache_ok = True

    def process_bind_param(self, value: bytes | None, dialect: Dialect) -> bytes | None:
        return None if value is None else packed(value)

    def process_result_value(self, value: Any, dialect: Dialect) -> bytes | None:
        return None if value is None else _unpacked(bytes(value))


def packed(content: bytes) -> bytes:
    """As it is stored. Content that begins like a compressed one is always compressed, so that none is mistaken.

    >>> len(packed(b"10:00:00,12.5" * 100)) < 130
    True
    >>> packed(b"short")
    b'short'
    """
    compressor = brotli.Compressor(quality=0, lgwin=_WINDOW)
    head = content[:_TRIED_BYTES]
    tried = compressor.process(head) + compressor.flush()
    looks_packed = content.startswith((_PACKED, _PACKED_BEFORE))
    if not looks_packed and len(tried) > _WORTH_IT * len(head) - len(_PACKED):
        return content
    rest = compressor.process(content[_TRIED_BYTES:]) + compressor.finish()
    return bytes(_PACKED + tried + rest)


def _unpacked(stored: bytes) -> bytes:
    packed_content = memoryview(stored)[len(_PACKED) :]
    try:
        if stored.startswith(_PACKED):
            return bytes(brotli.decompress(packed_content))
        return zlib.decompress(packed_content) if stored.startswith(_PACKED_BEFORE) else stored
    except (brotli.error, zlib.error):  # damaged: no content has the hash of this, so the check of the store names it
        return stored
