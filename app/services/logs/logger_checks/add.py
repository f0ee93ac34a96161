"""Adds and deletes checks of loggers."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.errors import AlreadyStored, InvalidValue, NotFound
from app.reading_files.log_table import LogTable, ReadingChoices
from app.services.logs.logger_checks.compare import LogOfLogger, common_channel, levels_of, results_of
from app.services.logs.logger_checks.definitions import WARM_UP, ZERO, NewLoggerCheck
from app.services.logs.store import has_raw_file, store_log
from app.services.store.audit import AT_THE_DESK, record_change, row_snapshot
from app.services.store.checked_values import latest_current_day, required_text
from app.services.store.entry_fields import checked_entry
from app.storage.models.bench import Bench
from app.storage.models.loggers import LoggerCheck
from app.storage.models.logs import Log

FIELD = "check"
MOST_LOGGERS = 6


@dataclass(frozen=True, slots=True)
class FileOfLogger:
    """An uploaded file that has been read, and the logger that wrote it."""

    logger_id: int
    content: bytes
    table: LogTable
    choices: ReadingChoices


def add_logger_checks(
    session: Session,
    new: NewLoggerCheck,
    logs: Sequence[LogOfLogger | FileOfLogger],
    *,
    who: str = AT_THE_DESK,
    now: datetime | None = None,
) -> list[int]:
    """Compares the loggers and stores one check for each, with its raw log; returns their ids.

    logs : the reference first, then the loggers to check; in clean air there is no reference

    Raises InvalidValue with the reason where the logs cannot be compared, AlreadyStored for the same check again.
    """
    at = now or datetime.now(UTC)
    new = NewLoggerCheck(**checked_entry(new))
    _check_number(new, logs)
    stored = [_stored(session, each, at) for each in logs]
    name = common_channel(session, stored, new.channel, session.get_one(Bench, 1).main_channel)
    loggers = [levels_of(session, each, name) for each in stored]
    results = results_of(new, loggers)
    reference = None if new.kind == ZERO else stored[0]
    checked = stored if reference is None else stored[1:]
    return [
        _add(session, new, each, reference, {"channel": name, "unit": loggers[0].unit, **result}, who, at)
        for each, result in zip(checked, results, strict=True)
    ]


def delete_logger_check(session: Session, check_id: int, *, who: str = AT_THE_DESK, why: str) -> int:
    """Deletes a check and returns its logger's id; the logs stay, and the record of changes keeps the result."""
    row = session.get(LoggerCheck, check_id)
    if row is None:
        raise NotFound("check of a logger", check_id)
    reason = required_text(why, "why", "The reason for removal")
    logger_id = row.logger_id
    before = f"{_words(row)}\n{row_snapshot(row)}"
    record_change(session, who, "taken back", "logger", logger_id, FIELD, before, None, reason)
    session.delete(row)
    session.flush()
    return logger_id


def _check_number(new: NewLoggerCheck, logs: Sequence[LogOfLogger | FileOfLogger]) -> None:
    needed = 1 if new.kind == ZERO else 2
    if not needed <= len(logs) <= MOST_LOGGERS:
        raise InvalidValue(
            f"The check has {len(logs)} log{'' if len(logs) == 1 else 's'}; this type needs {needed} to "
            f"{MOST_LOGGERS}, {'one for each logger' if needed == 1 else 'the first from the reference logger'}.",
            field="logs",
        )
    loggers = [each.logger_id for each in logs]
    if len(set(loggers)) < len(loggers):
        raise InvalidValue("Two logs name the same logger. Choose a different logger for each log.", field="logs")
    low, high = new.clean_from_min, new.clean_to_min
    if low is not None and high is not None and low >= high:
        raise InvalidValue(
            f"The clean air is from {low:g} to {high:g} min. Enter an end after the start.", field="clean_to_min"
        )


def _stored(session: Session, of: LogOfLogger | FileOfLogger, at: datetime) -> LogOfLogger:
    if isinstance(of, LogOfLogger):
        return of
    seen = has_raw_file(session, of.table.sha256)
    return LogOfLogger(of.logger_id, store_log(session, of.content, of.table, of.choices, at, seen=seen))


def _add(
    session: Session,
    new: NewLoggerCheck,
    of: LogOfLogger,
    reference: LogOfLogger | None,
    result: dict[str, Any],
    who: str,
    at: datetime,
) -> int:
    reference_log_id = None if reference is None else reference.log_id
    _refuse_second(session, new, of, reference_log_id, str(result["channel"]))
    entered = {name: value for name, value in checked_entry(new).items() if name not in ("channel", "checked_on")}
    row = LoggerCheck(
        logger_id=of.logger_id,
        log_id=of.log_id,
        reference_logger_id=None if reference is None else reference.logger_id,
        reference_log_id=reference_log_id,
        checked_on=new.checked_on or _day_of(session, of.log_id, at),
        created_at=at,
        **entered,
        **result,
    )
    session.add(row)
    session.flush()
    record_change(session, who or new.checked_by, "added", "logger", of.logger_id, FIELD, None, _words(row))
    return row.id


def _refuse_second(
    session: Session, new: NewLoggerCheck, of: LogOfLogger, reference_log_id: int | None, channel: str
) -> None:
    asked = select(LoggerCheck.id).where(
        LoggerCheck.kind == new.kind,
        LoggerCheck.logger_id == of.logger_id,
        LoggerCheck.log_id == of.log_id,
        LoggerCheck.reference_log_id.is_(None)
        if reference_log_id is None
        else LoggerCheck.reference_log_id == reference_log_id,
        LoggerCheck.channel == channel,
    )
    present = session.scalar(asked)
    if present is not None:
        raise AlreadyStored(
            f"This {new.kind} check is already stored as check {present}. Delete that one first, or choose other logs.",
            field="logs",
        )


def _day_of(session: Session, log_id: int, at: datetime) -> date:
    log = session.get_one(Log, log_id)
    return min((log.started_at if log.clock_is_known else at).date(), latest_current_day())


def _words(row: LoggerCheck) -> str:
    words = f"{row.kind} on {row.checked_on.isoformat()}"
    if row.kind == WARM_UP and row.settled_after_min is not None:
        return f"{words}, settled after {row.settled_after_min:.0f} min"
    if row.slope is not None and row.intercept is not None:
        return f"{words}, slope {row.slope:.4g}, intercept {row.intercept:.3g} {row.unit}".replace(" -", " −")
    return f"{words}, zero {row.zero_level:.3g} {row.unit}" if row.zero_level is not None else words
