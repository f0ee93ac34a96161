"""Stores a log: raw bytes, the choices of the reading, and every reading; and reads the raw bytes back."""

from dataclasses import dataclass
from datetime import datetime
from functools import cache

from sqlalchemy import Select, bindparam, select
from sqlalchemy.orm import Session, selectinload

from app.errors import NotFound
from app.reading_files.log_table import LogTable, ReadingChoices
from app.services.logs.readings import write_readings
from app.storage.inserts import insert_into
from app.storage.models.logs import Log, LogChannel, RawFile
from app.storage.models.trials import Trial


def store_log(
    session: Session,
    content: bytes,
    table: LogTable,
    choices: ReadingChoices,
    now: datetime,
    profile_id: int | None = None,
    *,
    seen: bool,
) -> int:
    """Stores a log and returns its id; a file already read in the same way is not stored again.

    seen : result of `has_raw_file`
    """
    if seen:
        present = _same_log(session, table)
        if present is not None:
            return present
    else:
        raw = {"sha256": table.sha256, "size_bytes": len(content), "content": content, "stored_at": now}
        session.connection().execute(insert_into(RawFile), raw)  # plain statements take half the time
    log = {
        "sha256": table.sha256,
        "file_name": table.file_name,
        "encoding": table.encoding,
        "delimiter": table.delimiter,
        "decimal_mark": table.decimal_mark,
        "header_line": table.header_line,
        "timezone": table.timezone,
        "box": table.box or "",
        "day_first": choices.day_first,
        "profile_id": profile_id,
        "started_at": table.started_at,
        "clock_is_known": table.clock_is_known,
        "interval_s": table.interval_s,
        "readings": len(table.elapsed_s),
        "rows_skipped": table.rows_skipped,
        "notes": "\n".join(table.notes),
        "stored_at": now,
    }
    connection = session.connection()
    log_id = int(connection.execute(insert_into(Log, "id"), log).scalar_one())
    columns = {column.channel: column for column in table.columns if column.channel in table.levels}
    connection.execute(
        insert_into(LogChannel),
        [
            {
                "log_id": log_id,
                "position": position,
                "channel": channel,
                "unit": table.units[channel],
                "file_header": columns[channel].header if channel in columns else "",
                "file_unit": columns[channel].file_unit if channel in columns else "",
                "held_values": table.held_values.get(channel, 0),
            }
            for position, channel in enumerate(table.levels)
        ],
    )
    write_readings(connection, log_id, table.elapsed_s, list(table.levels.values()))
    return log_id


def has_raw_file(session: Session, sha256: str) -> bool:
    """Whether these bytes are in the store."""
    return session.connection().scalar(_raw_file(), {"sha256": sha256}) is not None


@cache
def _raw_file() -> Select[str]:
    """Cached: building the statement takes longer than running it."""
    return select(RawFile.sha256).where(RawFile.sha256 == bindparam("sha256"))


def trials_of_file(session: Session, sha256: str) -> tuple[int, ...]:
    """Trials outside the trash whose log is this very file, oldest first."""
    asked = select(Trial.id).join(Log, Log.id == Trial.log_id).where(Log.sha256 == sha256, Trial.trashed_at.is_(None))
    return tuple(session.scalars(asked.order_by(Trial.id)))


def _same_log(session: Session, table: LogTable) -> int | None:
    """A stored log of the same bytes with the same result: detector box, start, length and channels."""
    for log in session.scalars(select(Log).where(Log.sha256 == table.sha256).options(selectinload(Log.channels))).all():
        if (
            log.started_at == table.started_at
            and log.readings == len(table.elapsed_s)
            and log.box == (table.box or "")
            and [(c.channel, c.unit) for c in log.channels] == list(table.units.items())
            and [c.file_header for c in log.channels] == _headers(table)
        ):
            return log.id
    return None


def _headers(table: LogTable) -> list[str]:
    headers = {column.channel: column.header for column in table.columns if column.channel in table.levels}
    return [headers.get(channel, "") for channel in table.levels]


@dataclass(frozen=True, slots=True)
class RawLog:
    """The bytes and the uploaded file name."""

    file_name: str
    sha256: str
    content: bytes


def log_id_of_trial(session: Session, trial_id: int) -> int:
    """Raises NotFound for an unknown trial."""
    log_id = session.scalar(select(Trial.log_id).where(Trial.id == trial_id))
    if log_id is None:
        raise NotFound("trial", trial_id)
    return log_id


def raw_log_of_trial(session: Session, trial_id: int) -> RawLog:
    """Raises NotFound for an unknown trial."""
    row = session.execute(
        select(Log.file_name, RawFile.sha256, RawFile.content)
        .join(Trial, Trial.log_id == Log.id)
        .join(RawFile, RawFile.sha256 == Log.sha256)
        .where(Trial.id == trial_id)
    ).first()
    if row is None:
        raise NotFound("trial", trial_id)
    return RawLog(*row)
