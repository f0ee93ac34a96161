"""Checks of a logger over the years, when the next one is due, and whether a trial was recorded past it."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from sqlalchemy import select
from sqlalchemy.orm import Session, selectinload

from app.compute.wording.numbers import counted
from app.errors import NotFound
from app.storage.models.loggers import Logger, LoggerCheck


@dataclass(frozen=True, slots=True)
class LoggerRecord:
    """A logger with its checks, oldest first; `due_on` is None where no interval is set."""

    logger: Logger
    checks: Sequence[LoggerCheck]
    due_on: date | None


def logger_record(session: Session, logger_id: int) -> LoggerRecord:
    """Raises NotFound for an unknown logger."""
    logger = session.get(Logger, logger_id)
    if logger is None:
        raise NotFound("logger", logger_id)
    checks = _checks(session, LoggerCheck.logger_id == logger_id)
    last = max((check.checked_on for check in checks), default=None)
    return LoggerRecord(logger, checks, _due(last, logger.check_interval_days))


def get_check(session: Session, check_id: int) -> LoggerCheck:
    """A check with its loggers."""
    found = _checks(session, LoggerCheck.id == check_id)
    if not found:
        raise NotFound("check of a logger", check_id)
    return found[0]


def list_checks(session: Session, logger_id: int | None = None) -> Sequence[LoggerCheck]:
    """All checks, or those of a logger, oldest first."""
    return _checks(session, LoggerCheck.id > 0 if logger_id is None else LoggerCheck.logger_id == logger_id)


def overdue_words(logger: Logger | None, on: date) -> str:
    """A sentence where a logger, loaded with its checks, was past its check date on a day; "" where it was not, or no
    interval is set.

    Only checks up to that day count, so a later check does not excuse an earlier trial.
    """
    if logger is None or logger.check_interval_days is None:
        return ""
    last = max((check.checked_on for check in logger.checks if check.checked_on <= on), default=None)
    if last is None:
        return (
            f"The logger {logger.name} had no check before this trial, and should be checked every "
            f"{logger.check_interval_days} days."
        )
    due = last + timedelta(days=logger.check_interval_days)
    if on <= due:
        return ""
    return (
        f"The logger {logger.name} was due for a check on {due.isoformat()}, {counted((on - due).days, 'day')} before "
        f"this trial; its last check was on {last.isoformat()}."
    )


def _due(last: date | None, every_days: int | None) -> date | None:
    return None if last is None or every_days is None else last + timedelta(days=every_days)


def _checks(session: Session, where: object) -> Sequence[LoggerCheck]:
    return session.scalars(
        select(LoggerCheck)
        .where(where)  # type: ignore[arg-type]
        .options(selectinload(LoggerCheck.logger), selectinload(LoggerCheck.reference_logger))
        .order_by(LoggerCheck.checked_on, LoggerCheck.id)
    ).all()
