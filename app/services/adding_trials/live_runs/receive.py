"""Stores batches of readings: repeats are recognised, and batches may overlap or arrive out of order.

A value that differs from the one stored for the same time is named.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any

from sqlalchemy import insert, select, update
from sqlalchemy.orm import Session

from app.errors import InvalidValue, RunEnded
from app.reading_files.headers.channels import channel, has_known_form, split_detector
from app.services.adding_trials.live_runs.run import DEMONSTRATION, count_change, open_run
from app.services.store.checked_values import idempotency_key
from app.storage.models.live_runs import LiveChannel, LiveLot, live_readings
from app.storage.models.logs import VALUE_COLUMNS

MOST_READINGS = 5_000  # in one batch; half an hour at three readings a second
MOST_CONFLICTS_NAMED = 20
EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_ROWS_A_STATEMENT = 500


@dataclass(frozen=True, slots=True)
class Reading:
    """One reading: a time with its zone on the logger's clock, and levels by channel name."""

    time: datetime
    levels: Mapping[str, float | None]


@dataclass(frozen=True, slots=True)
class Conflict:
    """A value that was not stored because another one is stored for the same time."""

    time: datetime
    channel: str
    stored: float
    received: float


@dataclass(frozen=True, slots=True)
class Receipt:
    """What became of a batch. `conflicts` counts all values that were not stored, `named` lists the first ones."""

    added: int
    repeated: int
    conflicts: int
    named: tuple[Conflict, ...] = ()


def receive_readings(
    session: Session,
    run_id: int,
    readings: Sequence[Reading],
    *,
    key: str = "",
    sha256: str = "",
    now: datetime | None = None,
) -> Receipt:
    """Stores a batch of readings of an open run. Where a value is stored for the same time, the stored one remains.

    key : a batch with a key that was acknowledged is not stored again; sha256 : digest of the batch, compared then

    Raises RunEnded for a run that was finished or closed, or a key of another batch; InvalidValue for a bad reading.
    """
    at = now or datetime.now(UTC)
    lot_key = idempotency_key(key)
    if lot_key and (known := session.get(LiveLot, (run_id, lot_key))) is not None:
        if known.sha256 != sha256:
            raise RunEnded(
                f"The idempotency key {lot_key[:40]!r} was used for other readings of live run {run_id}. Use a new key "
                "for each batch.",
                field="Idempotency-Key",
            )
        return Receipt(known.added, known.repeated, known.conflicts)
    run = open_run(session, run_id, at)
    rows = _rows(readings)
    columns = _columns(session, run_id, rows)
    change = count_change(session, run, at)
    receipt = _merge(session, run_id, rows, columns, change)
    if run.source != DEMONSTRATION:  # a replay has a clock of its own
        ahead_s = (EPOCH + timedelta(microseconds=max(rows)) - at).total_seconds()
        run.logger_ahead_s = ahead_s if run.logger_ahead_s is None else max(run.logger_ahead_s, ahead_s)
    run.conflicts += receipt.conflicts
    if lot_key:
        counts = {"added": receipt.added, "repeated": receipt.repeated, "conflicts": receipt.conflicts}
        session.add(LiveLot(run_id=run_id, idempotency_key=lot_key, sha256=sha256, received_at=at, **counts))
    session.flush()
    return receipt


def microseconds(time: datetime) -> int:
    return (time - EPOCH) // timedelta(microseconds=1)


def channels_of(session: Session, run_id: int) -> Sequence[LiveChannel]:
    return session.scalars(select(LiveChannel).where(LiveChannel.run_id == run_id).order_by(LiveChannel.position)).all()


def _rows(readings: Sequence[Reading]) -> dict[int, dict[str, float]]:
    """Levels by time; a time that repeats within the batch is one reading."""
    if not 1 <= len(readings) <= MOST_READINGS:
        raise InvalidValue(
            f"The batch has {len(readings)} readings; send 1 to {MOST_READINGS} at a time.", field="readings"
        )
    rows: dict[int, dict[str, float]] = {}
    for place, reading in enumerate(readings):
        if not 1990 <= reading.time.year <= 2100:
            raise InvalidValue(
                f"Reading {place + 1} has the time {reading.time.isoformat()}; a year from 1990 to 2100 is needed. Set "
                "the logger's clock.",
                field="readings",
            )
        row = rows.setdefault(microseconds(reading.time), {})
        for name, level in reading.levels.items():
            if not has_known_form(split_detector(name)[0]):
                raise InvalidValue(
                    f"Reading {place + 1} has the channel {name[:40]!r}, which is not known. Use a channel name such "
                    "as pm2_5, relative_humidity or count_0_3um.",
                    field="readings",
                )
            if level is not None:
                row.setdefault(name, level)
    return rows


def _columns(session: Session, run_id: int, rows: Mapping[int, Mapping[str, float]]) -> dict[str, str]:
    """Value column of each channel; new channels of the run get the next ones."""
    names = {each.channel: each.position for each in channels_of(session, run_id)}
    for name in dict.fromkeys(name for row in rows.values() for name in row):
        if name in names:
            continue
        if len(names) == len(VALUE_COLUMNS):
            raise InvalidValue(
                f"The readings have the channel {name!r}, but a live run holds at most {len(VALUE_COLUMNS)} channels. "
                "Leave some out; an uploaded file may have more.",
                field="readings",
            )
        names[name] = len(names)
        session.add(LiveChannel(run_id=run_id, position=names[name], channel=name, unit=channel(name).unit))
    return {name: VALUE_COLUMNS[position] for name, position in names.items()}


def _merge(
    session: Session, run_id: int, rows: dict[int, dict[str, float]], columns: dict[str, str], change: int
) -> Receipt:
    connection = session.connection()
    table = live_readings
    within = select(table).where(table.c.run_id == run_id, table.c.at_us >= min(rows), table.c.at_us <= max(rows))
    stored = {row["at_us"]: row for row in connection.execute(within).mappings()}
    new: list[dict[str, Any]] = []
    conflicts: list[Conflict] = []
    repeated = 0
    for at_us, levels in rows.items():
        present = stored.get(at_us)
        if present is None:
            new.append(
                dict.fromkeys(VALUE_COLUMNS)
                | {"run_id": run_id, "at_us": at_us, "change": change}
                | {columns[name]: level for name, level in levels.items()}
            )
            continue
        repeated += 1
        missing = {columns[name]: level for name, level in levels.items() if present[columns[name]] is None}
        if missing:
            where = (table.c.run_id == run_id, table.c.at_us == at_us)
            connection.execute(update(table).where(*where).values(change=change, **missing))
        conflicts += [
            Conflict(EPOCH + timedelta(microseconds=at_us), name, stored_level, level)
            for name, level in levels.items()
            if (stored_level := present[columns[name]]) is not None and stored_level != level
        ]
    for start in range(0, len(new), _ROWS_A_STATEMENT):
        connection.execute(insert(table), new[start : start + _ROWS_A_STATEMENT])
    return Receipt(len(new), repeated, len(conflicts), tuple(conflicts[:MOST_CONFLICTS_NAMED]))
