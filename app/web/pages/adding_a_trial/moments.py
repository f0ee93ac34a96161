"""A moment of a log as people type it: minutes after the first reading, or the time of day."""

import re
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from app.web.forms.typed_form import TypedForm

_CLOCK = re.compile(r"(?:(\d{4}-\d\d-\d\d)[T ])?(\d{1,2}):(\d\d)(?::(\d\d(?:\.\d+)?))?")

# The marks of a trial: field of the form, name in the store, words.
MARKS = (
    ("smoke_start", "smoke_start_s", "Smoke begins"),
    ("unit_on", "unit_on_s", "Unit on"),
    ("fit_start", "fit_start_s", "Fit window begins"),
    ("fit_end", "fit_end_s", "Fit window ends"),
    ("end", "end_s", "Run ends"),
)


def moment_s(form: TypedForm, name: str, what: str, started_at: datetime, timezone: str) -> float | None:
    """Seconds after the first reading; None where the field is empty or cannot be read.

    started_at : time of the first reading; timezone : zone in which a time of day is meant
    """
    text = form.text(name)
    clock = _CLOCK.fullmatch(text)
    if clock is None:
        if ":" in text:
            form.add_error(
                name, f"{what}: found {text[:40]!r}; minutes such as 12.5, or a time such as 10:12:30, needed."
            )
            return None
        minutes = form.number(name, what)
        return None if minutes is None else round(minutes * 60, 3)
    local = started_at.astimezone(zone_of(timezone))
    day, hour, minute, second = clock.groups()
    try:
        base = datetime.fromisoformat(day).replace(tzinfo=local.tzinfo) if day else local
        moment = base.replace(
            hour=int(hour), minute=int(minute), second=int(float(second or 0)), microsecond=_micro(second)
        )
    except ValueError:
        form.add_error(name, f"{what}: {text!r} is no time of day. Correct it.")
        return None
    if not day and moment < local - timedelta(seconds=60):
        moment += timedelta(days=1)  # a run over midnight
    return round((moment - local).total_seconds(), 3)


def zone_of(name: str) -> ZoneInfo:
    """The zone of that name, UTC where there is none."""
    try:
        return ZoneInfo(name or "UTC")
    except (ZoneInfoNotFoundError, ValueError, OSError):
        return ZoneInfo("UTC")


def minutes_text(seconds: float | None) -> str:
    """Seconds as the minutes that the form shows.

    >>> minutes_text(750.0), minutes_text(None), minutes_text(100.0)
    ('12.5', '', '1.667')
    """
    return "" if seconds is None else f"{round(seconds / 60, 3):g}"


def _micro(second: str | None) -> int:
    return round((float(second or 0) % 1) * 1e6) % 1_000_000
