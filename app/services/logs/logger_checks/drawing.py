"""What the charts of a check show, from its stored logs, and logs of the same time to choose from."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.errors import InvalidValue
from app.services.logs.logger_checks.compare import LogOfLogger, compared, levels_of
from app.services.logs.logger_checks.record import get_check
from app.storage.models.loggers import LoggerCheck
from app.storage.models.logs import Log

_SHORTEST_TOGETHER = timedelta(minutes=10)
_MOST_LOGS = 300


@dataclass(frozen=True, slots=True)
class DrawnCheck:
    """Means of both loggers [unit of the channel] and their times from the first of them [min]."""

    check: LoggerCheck
    minutes: tuple[float, ...]
    reference: tuple[float, ...]
    other: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class StoredLog:
    """A log that was written at the same time as another one."""

    id: int
    words: str


def drawn_check(session: Session, check_id: int) -> DrawnCheck:
    """Raises InvalidValue for a check without a reference logger."""
    check = get_check(session, check_id)
    if check.reference_log_id is None or check.reference_logger_id is None or check.averaging_s is None:
        raise InvalidValue("A zero check has no reference logger, so there is no such chart. Choose another check.")
    reference = levels_of(session, LogOfLogger(check.reference_logger_id, check.reference_log_id), check.channel)
    other = levels_of(session, LogOfLogger(check.logger_id, check.log_id), check.channel)
    found = compared(reference, other, check.expected_offset_s, check.averaging_s)
    minutes = (found.time_s - found.time_s[0]) / 60
    return DrawnCheck(check, tuple(minutes.tolist()), tuple(found.reference.tolist()), tuple(found.other.tolist()))


def logs_of_the_same_time(session: Session) -> list[StoredLog]:
    """Stored logs that share ten minutes with another one, newest first."""
    asked = select(Log.id, Log.file_name, Log.started_at, Log.readings, Log.interval_s).where(
        Log.clock_is_known == True  # noqa: E712  (a flag is an integer in the store)
    )
    rows = session.execute(asked.order_by(Log.started_at.desc()).limit(_MOST_LOGS)).all()
    spans = [(row.started_at, row.started_at + timedelta(seconds=row.readings * row.interval_s)) for row in rows]
    shared = _places_of_overlaps(spans)
    return [
        StoredLog(row.id, f"{row.started_at:%Y-%m-%d %H:%M} {row.file_name}")
        for place, row in enumerate(rows)
        if place in shared
    ]


def _places_of_overlaps(spans: Sequence[tuple[datetime, datetime]]) -> set[int]:
    """Places of the spans that share ten minutes with another one; a span meets no other that begins after its end."""
    found: set[int] = set()
    in_order = sorted(range(len(spans)), key=lambda place: spans[place])
    for number, place in enumerate(in_order, start=1):
        latest_begin = spans[place][1] - _SHORTEST_TOGETHER
        for other in in_order[number:]:
            begins, ends = spans[other]
            if begins > latest_begin:
                break
            if ends - begins >= _SHORTEST_TOGETHER:
                found |= {place, other}
    return found
