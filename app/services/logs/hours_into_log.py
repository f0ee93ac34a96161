"""Converts a typed time to hours into a log: an ISO 8601 time, or minutes from the first reading."""

import math
import re
from datetime import datetime
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from app.errors import InvalidValue
from app.reading_files.log_table import LogTable

_MINUTES = re.compile(r"([+-]?\d+(?:[.,]\d+)?(?:[eE][+-]?\d+)?)\s*min(?:utes)?")


def hours_into_log(text: str | None, table: LogTable, field: str, what: str) -> float | None:
    """Hours from the log's first reading; None for None.

    A time without a zone is in the zone of the log. Raises InvalidValue where the text is neither a time nor
    minutes, or the moment lies outside the log.
    """
    if text is None:
        return None
    minutes = _MINUTES.fullmatch(text.strip())
    hours = float(minutes[1].replace(",", ".")) / 60 if minutes else _hours_of_time(text, table, field, what)
    last_h = float(table.elapsed_s[-1]) / 3600
    if not math.isfinite(hours) or not 0 <= hours <= last_h:
        raise InvalidValue(
            f"{what} is {text!r}, {60 * hours:.1f} min after the first reading; the log runs from 0 to "
            f"{60 * last_h:.1f} min. Give a time within the log.",
            field=field,
        )
    return hours


def _hours_of_time(text: str, table: LogTable, field: str, what: str) -> float:
    try:
        moment = datetime.fromisoformat(text.strip())
    except ValueError:
        raise InvalidValue(
            f"{what} is {text!r}; enter an ISO 8601 time such as 2026-01-05T10:30Z, or minutes from the first reading "
            "such as 12.5min.",
            field=field,
        ) from None
    if not table.clock_is_known:
        raise InvalidValue(
            f"{what} is the time {text!r}, but the log has no reliable clock. Give minutes from the first reading, "
            "such as 12.5min.",
            field=field,
        )
    if moment.tzinfo is None:
        try:
            moment = moment.replace(tzinfo=ZoneInfo(table.timezone or "UTC"))
        except (ZoneInfoNotFoundError, ValueError):
            moment = moment.replace(tzinfo=table.started_at.tzinfo)
    return (moment - table.started_at).total_seconds() / 3600
