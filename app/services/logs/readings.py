"""Readings of a log: written in bulk, read as arrays, and thinned for charts without losing peaks."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import Connection, bindparam, func, select, update
from sqlalchemy.orm import Session

from app.errors import InvalidValue, NotFound
from app.storage.models.logs import VALUE_COLUMNS, Log, LogChannel, readings

_COLUMNS = len(VALUE_COLUMNS)
MOST_POINTS = 100_000
_ROWS_A_STATEMENT = 100
# Made once: building a statement takes longer than running it.
_FIRST_FREE = select(func.coalesce(func.max(readings.c.id), 0) + 1)
_PLACE = update(Log).where(Log.id == bindparam("of_log"))


@dataclass(frozen=True, slots=True)
class LogReadings:
    """Readings of one log.

    elapsed_s : seconds since the log's first reading, strictly rising, shape (n,)
    levels : channel name to values in the channel's unit, not-a-number where there is none, each of shape (n,)
    units : channel name to unit symbol
    """

    elapsed_s: NDArray[np.float64]
    levels: dict[str, NDArray[np.float64]]
    units: dict[str, str]


@dataclass(frozen=True, slots=True)
class ThinnedReadings:
    """Readings of one channel, at most as many as requested; peaks and troughs are kept.

    readings : number before thinning, missing ones not counted
    """

    channel: str
    unit: str
    readings: int
    elapsed_s: NDArray[np.float64]
    levels: NDArray[np.float64]


def write_readings(
    connection: Connection,
    log_id: int,
    elapsed_s: NDArray[np.float64],
    levels: Sequence[NDArray[np.float64]],
) -> None:
    """Writes all readings of a log; the channel at position p is in block p // 16, column p % 16.

    The rows follow the last one of the table, which is safe under the write lock.
    Uses the driver directly with many rows per statement, because its own loop over rows is slow.
    """
    first = connection.execute(_FIRST_FREE).scalar_one()
    connection.execute(_PLACE, {"of_log": log_id, "readings": len(elapsed_s), "first_reading": first})
    for block in range(-(-len(levels) // _COLUMNS)):
        of_block = levels[block * _COLUMNS : (block + 1) * _COLUMNS]
        _write_block(connection, first + block * len(elapsed_s), elapsed_s, of_block)


def _write_block(
    connection: Connection, first: int, elapsed_s: NDArray[np.float64], levels: Sequence[NDArray[np.float64]]
) -> None:
    names = ("elapsed_s", *VALUE_COLUMNS[: len(levels)])
    if connection.dialect.name != "sqlite":
        ids = np.arange(first, first + len(elapsed_s), dtype=np.int64)
        with connection.connection.cursor().copy(
            f"COPY readings (id, {', '.join(names)}) FROM STDIN (FORMAT BINARY)"
        ) as copy:
            copy.write(_binary_rows(ids, [elapsed_s, *levels]))
        return
    # SQLite continues from the last row by itself, faster than with explicit ids
    table = np.column_stack([elapsed_s, *levels])
    row = f"({', '.join('?' * len(names))})"
    whole = len(table) - len(table) % _ROWS_A_STATEMENT
    for part, rows in ((table[:whole], _ROWS_A_STATEMENT), (table[whole:], len(table) - whole)):
        if len(part):
            insert = f"INSERT INTO readings ({', '.join(names)}) VALUES {', '.join([row] * rows)}"
            connection.exec_driver_sql(insert, _parameters(part.reshape(-1, rows * len(names))))


def _binary_rows(ids: NDArray[np.int64], columns: Sequence[NDArray[np.float64]]) -> bytes:
    """Rows in PostgreSQL's binary format of COPY; NULL for not-a-number.

    Each row is its number of fields, and each field its length and its bytes, high byte first; a NULL has the length -1
    and no bytes (PostgreSQL documentation, COPY, "Binary Format").
    """
    field = np.dtype([("length", ">i4"), ("value", ">f8")])
    row = np.dtype([("fields", ">i2"), ("id_length", ">i4"), ("id", ">i8"), ("values", field, (len(columns),))])
    rows = np.zeros(len(ids), row)
    rows["fields"], rows["id_length"], rows["id"] = 1 + len(columns), 8, ids
    rows["values"]["value"] = np.column_stack(columns)
    there = np.isfinite(rows["values"]["value"])
    rows["values"]["length"] = np.where(there, 8, -1)
    kept = np.ones((len(ids), row.itemsize), bool)  # of the bytes of each row
    of_values = kept[:, -len(columns) * field.itemsize :].reshape(len(ids), len(columns), field.itemsize)
    of_values[:, :, 4:] = there[:, :, np.newaxis]
    content = rows.view(np.uint8).reshape(len(ids), row.itemsize)[kept].tobytes()
    return b"PGCOPY\n\xff\r\n\0" + bytes(8) + content + b"\xff\xff"


def read_readings(session: Session, log_id: int, channels: Sequence[str] | None = None) -> LogReadings:
    """Readings of a log: all channels, or those named. Raises NotFound for an unknown log or channel."""
    found = session.execute(
        select(LogChannel.position, LogChannel.channel, LogChannel.unit)
        .where(LogChannel.log_id == log_id)
        .order_by(LogChannel.position)
    ).all()
    if not found:
        raise NotFound("log", log_id)
    wanted = [(place, name, unit) for place, name, unit in found if channels is None or name in channels]
    missing = sorted(set(channels or ()) - {row.channel for row in found})
    if missing:
        raise InvalidValue(
            f"The log holds no channel {missing[0]!r}; it holds: {', '.join(row.channel for row in found)}.",
            field="channel",
        )
    return read_columns(session.connection(), log_id, wanted)


def read_columns(connection: Connection, log_id: int, channels: Sequence[tuple[int, str, str]]) -> LogReadings:
    """Readings of channels given as (position, channel, unit)."""
    elapsed_s = np.empty(0)
    levels: dict[str, NDArray[np.float64]] = {}
    for block in sorted({position // _COLUMNS for position, _, _ in channels}):
        of_block = [(position % _COLUMNS, name) for position, name, _ in channels if position // _COLUMNS == block]
        columns = ", ".join(("elapsed_s", *(VALUE_COLUMNS[column] for column, _ in of_block)))
        # the driver's own cursor: SQLAlchemy row objects would take half of the time
        cursor = connection.connection.cursor()
        cursor.execute(
            f"SELECT {columns} FROM readings "
            f"WHERE id >= (SELECT first_reading + {block} * readings FROM logs WHERE id = {int(log_id)}) "
            f"AND id < (SELECT first_reading + {block + 1} * readings FROM logs WHERE id = {int(log_id)}) ORDER BY id"
        )
        rows = cursor.fetchall()
        cursor.close()
        table = np.array(rows, dtype=np.float64).reshape(len(rows), len(of_block) + 1)
        elapsed_s = np.ascontiguousarray(table[:, 0])
        levels |= {name: np.ascontiguousarray(table[:, 1 + n]) for n, (_, name) in enumerate(of_block)}
    return LogReadings(elapsed_s, levels, {name: unit for _, name, unit in channels})


def thin_readings(session: Session, log_id: int, channel: str, max_points: int = 2000) -> ThinnedReadings:
    """Thins one channel to at most `max_points` readings so that the curve looks the same. [1]_

    References
    .. [1] S. Steinarsson, "Downsampling Time Series for Visual Representation", University of Iceland, 2013,
       after preselecting the extremes of each bucket.
    """
    if not 3 <= max_points <= MOST_POINTS:
        raise InvalidValue(
            f"max_points is {max_points}; enter a whole number from 3 to {MOST_POINTS}.", field="max_points"
        )
    log = read_readings(session, log_id, [channel])
    present = np.isfinite(log.levels[channel])
    x, y = log.elapsed_s[present], log.levels[channel][present]
    kept = thinned_positions(x, y, max_points)
    return ThinnedReadings(channel, log.units[channel], len(y), x[kept], y[kept])


def thinned_positions(x: NDArray[np.float64], y: NDArray[np.float64], max_points: int) -> NDArray[np.intp]:
    """Indices to keep, including the highest and the lowest reading.

    x must be strictly increasing and y free of not-a-number, as the downsampler requires.
    """
    if len(y) <= max_points:
        return np.arange(len(y))
    from tsdownsample import MinMaxLTTBDownsampler  # loaded when used: only long logs need it

    extremes = [int(np.argmax(y)), int(np.argmin(y))]  # the downsampler compares areas, and may drop both
    if max_points < 5:
        return np.unique(np.array([0, extremes[0], len(y) - 1], dtype=np.intp))
    chosen = MinMaxLTTBDownsampler().downsample(x, y, n_out=max_points - 2)  # type: ignore[no-untyped-call]
    return np.union1d(np.asarray(chosen, dtype=np.intp), extremes).astype(np.intp)


def _parameters(table: NDArray[np.float64]) -> list[tuple[float | None, ...]]:
    """The rows of the table; None for not-a-number."""
    rows: list[list[float | None]] = table.tolist()
    for row, place in np.argwhere(~np.isfinite(table)).tolist():
        rows[row][place] = None
    return list(map(tuple, rows))
