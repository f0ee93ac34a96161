"""Loggers: the instruments that write logs."""

from typing import Any

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from app.errors import AlreadyStored, NotFound
from app.services.bench.definitions import NewLogger
from app.services.store.audit import AT_THE_DESK, record_change, write_changes
from app.services.store.entry_fields import changed_entry, checked_entry
from app.services.store.progress import OnProgress, no_progress
from app.storage.models.loggers import Logger, LoggerProfile

# fields that results depend on
OF_ANALYSIS = {"response_time_s", "saturation_level_ug_m3", "averaging_s", "time_stamp", "on_before_min"}


def get_logger(session: Session, logger_id: int) -> Logger:
    logger = session.get(Logger, logger_id)
    if logger is None:
        raise NotFound("logger", logger_id)
    return logger


def add_logger(session: Session, new_logger: NewLogger, *, who: str = AT_THE_DESK) -> int:
    """Adds a logger and returns its id."""
    values = _checked(session, new_logger)
    _refuse_second(session, values["name"])
    logger = Logger(**values)
    session.add(logger)
    session.flush()
    record_change(session, who, "added", "logger", logger.id, after=logger.name)
    return logger.id


def change_logger(
    session: Session,
    logger_id: int,
    changed: dict[str, object],
    *,
    who: str = AT_THE_DESK,
    why: str = "",
    on_progress: OnProgress = no_progress,
) -> Logger:
    """Changes the given fields. A change of what the analysis uses re-analyses the logger's trials, and changes are
    recorded.
    """
    logger = get_logger(session, logger_id)
    values = _checked(session, changed_entry(NewLogger, logger, changed, "A logger"))
    if values["name"] != logger.name:
        _refuse_second(session, values["name"], apart_from=logger_id)
    moved = write_changes(session, logger, values, "logger", logger_id, who=who, why=why)
    if moved & OF_ANALYSIS:
        from app.services.results.trial_results import reanalyse_logger  # loaded when used: it needs scipy

        session.flush()
        reason = why or f"{logger.name} was changed"
        reanalyse_logger(session, logger_id, who=who, why=reason, on_progress=on_progress)
    return logger


def find_logger(session: Session, name: str) -> int | None:
    """Id of the logger with this name, case-insensitively."""
    return session.scalar(select(Logger.id).where(func.lower(Logger.name) == name.strip().lower()))


def _refuse_second(session: Session, name: str, apart_from: int | None = None) -> None:
    present = find_logger(session, name)
    if present is not None and present != apart_from:
        raise AlreadyStored(
            f"A logger {name!r} already exists. Choose it from the list, or give the new one another name.",
            field="logger",
        )


def _checked(session: Session, new: NewLogger) -> dict[str, Any]:
    if new.profile_id is not None and session.get(LoggerProfile, new.profile_id) is None:
        raise NotFound("logger profile", new.profile_id)
    return checked_entry(new)
