"""Loggers: the instruments that write logs."""

from dataclasses import dataclass, fields

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from app.errors import AlreadyStored, InvalidValue, NotFound
from app.services.store.audit import AT_THE_DESK, record_change
from app.services.store.checked_values import (
    optional_above_zero,
    optional_not_below_zero,
    optional_text,
    required_text,
)
from app.services.store.progress import OnProgress, no_progress
from app.storage.models.rooms_and_loggers import Logger, LoggerProfile


@dataclass(frozen=True, slots=True, kw_only=True)
class NewLogger:
    """A logger; response time in s, saturation in µg/m³, as stated by its maker or found by a check."""

    name: str
    profile_id: int | None = None
    principle: str = ""
    response_time_s: float | None = None
    saturation_level_ug_m3: float | None = None
    calibration: str = ""
    notes: str = ""


def get_logger(session: Session, logger_id: int) -> Logger:
    logger = session.get(Logger, logger_id)
    if logger is None:
        raise NotFound("logger", logger_id)
    return logger


def add_logger(session: Session, new_logger: NewLogger, *, who: str = AT_THE_DESK) -> int:
    """Adds a logger and returns its id."""
    values = _checked(session, new_logger)
    _refuse_second(session, str(values["name"]))
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
    """Changes the given fields. A new saturation or response time re-analyses the logger's trials, and changes are
    recorded.
    """
    logger = get_logger(session, logger_id)
    names = [field.name for field in fields(NewLogger)]
    unknown = sorted(changed.keys() - set(names))
    if unknown:
        raise InvalidValue(f"A logger has no field {unknown[0]!r}; it has: {', '.join(names)}.", field=unknown[0])
    asked = {name: getattr(logger, name) for name in names} | changed
    values = _checked(session, NewLogger(**asked))
    if values["name"] != logger.name:
        _refuse_second(session, str(values["name"]), apart_from=logger_id)
    analysis_moves = False
    for name in names:
        before, after = getattr(logger, name), values[name]
        if before != after:
            setattr(logger, name, after)
            record_change(session, who, "changed", "logger", logger_id, name, before, after, why)
            analysis_moves = analysis_moves or name in ("response_time_s", "saturation_level_ug_m3")
    if analysis_moves:
        from app.services.results.trial_results import reanalyse_logger  # loaded when used: it needs scipy

        session.flush()
        reason = why or f"what is known of {logger.name} was changed"
        reanalyse_logger(session, logger_id, who=who, why=reason, on_progress=on_progress)
    return logger


def find_logger(session: Session, name: str) -> int | None:
    """Id of the logger with this name, case-insensitively."""
    return session.scalar(select(Logger.id).where(func.lower(Logger.name) == name.strip().lower()))


def _refuse_second(session: Session, name: str, apart_from: int | None = None) -> None:
    present = find_logger(session, name)
    if present is not None and present != apart_from:
        raise AlreadyStored(
            f"A logger {name!r} is on the bench already. Choose it from the list, or give the new one another name.",
            field="logger",
        )


def _checked(session: Session, new: NewLogger) -> dict[str, object]:
    if new.profile_id is not None and session.get(LoggerProfile, new.profile_id) is None:
        raise NotFound("logger profile", new.profile_id)
    return {
        "name": required_text(new.name, "logger", "The name of the logger"),
        "profile_id": new.profile_id,
        "principle": optional_text(new.principle, "principle", "The principle"),
        "response_time_s": optional_not_below_zero(new.response_time_s, "response_time_s", "The response time", "s"),
        "saturation_level_ug_m3": optional_above_zero(
            new.saturation_level_ug_m3, "saturation_level_ug_m3", "The saturation level", "µg/m³"
        ),
        "calibration": optional_text(new.calibration, "calibration", "The calibration"),
        "notes": optional_text(new.notes, "logger_notes", "The notes"),
    }
