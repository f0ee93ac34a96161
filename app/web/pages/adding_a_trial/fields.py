"""Fields of the trial form: how to read the file, the trial's conditions, and its marks."""

import re
from collections.abc import Callable, Sequence
from datetime import datetime, timedelta
from typing import Any, TypeVar
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from sqlalchemy.orm import Session

from app.errors import InvalidValue
from app.reading_files.log_table import ReadingChoices
from app.services.bench.definitions import NewLogger, NewRoom, NewSmokeSource
from app.services.bench.loggers import add_logger
from app.services.bench.rooms import add_room
from app.services.bench.smoke_sources import add_smoke_source
from app.services.logs.trial_fields import MARKS, TRIAL_TEXTS, NewTrial, TrialMarks
from app.services.logs.trial_kinds import EMPTY_ROOM, UNIT_RUNNING
from app.services.store.entry_fields import entry_fields
from app.services.units.definitions import NewSetting, NewUnit
from app.services.units.entry import add_setting, add_unit, find_setting
from app.services.units.speed_settings import settings_of
from app.web.forms.options import NEW
from app.web.forms.typed_form import TypedForm
from app.web.pages.adding_a_trial.header_line import DETECTED

_CLOCK = re.compile(r"(?:(\d{4}-\d\d-\d\d)[T ])?(\d{1,2}):(\d\d)(?::(\d\d(?:\.\d+)?))?")

New = TypeVar("New")
_NAMES = {"unit_under_test_id": "unit", "room_id": "room", "logger_id": "logger", "smoke_source_id": "smoke source"}
_NEEDED = ("unit_under_test_id", "room_id")
MARK_FIELDS = tuple(each.form_name for each in entry_fields(TrialMarks))


def moment_s(form: TypedForm, name: str, what: str, started_at: datetime, timezone: str) -> float | None:
    """Seconds after the first reading; None for an empty or invalid field.

    started_at : time of the first reading; timezone : zone of a time of day
    """
    text = form.text(name)
    clock = _CLOCK.fullmatch(text)
    if clock is None:
        if ":" in text:
            form.add_error(
                name, f"{what}: found {text[:40]!r}; enter minutes such as 12.5, or a time such as 10:12:30."
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
        form.add_error(name, f"{what}: {text!r} is not a time of day.")
        return None
    if not day and moment < local - timedelta(seconds=60):
        moment += timedelta(days=1)  # a run past midnight
    return round((moment - local).total_seconds(), 3)


def zone_of(name: str) -> ZoneInfo:
    """The zone of that name, UTC if unknown."""
    try:
        return ZoneInfo(name or "UTC")
    except (ZoneInfoNotFoundError, ValueError, OSError):
        return ZoneInfo("UTC")


def minutes_text(seconds: float | None) -> str:
    """Seconds as minutes for the form.

    >>> minutes_text(750.0), minutes_text(None), minutes_text(100.0)
    ('12.5', '', '1.667')
    """
    return "" if seconds is None else f"{round(seconds / 60, 3):g}"


def _micro(second: str | None) -> int:
    return round((float(second or 0) % 1) * 1e6) % 1_000_000


DAY_ORDERS = {"day first": True, "month first": False}
LEAVE_OUT = "leave out"
_HEADER_FIELD = re.compile(r"header_(\d{1,6})")


def choices_of(form: TypedForm, kept: ReadingChoices | None, bench_timezone: str) -> ReadingChoices:
    """How to read the file: choices of the form override those of the profile."""
    from app.reading_files.columns.asked_channels import (
        requested_channel,  # loaded when used: with the rest of the reading
    )

    base = kept or ReadingChoices()
    columns, units = dict(base.columns), dict(base.units)
    for position in columns_in_form(form):
        header = form.typed(f"header_{position}")
        use, unit = form.text(f"column_{position}"), form.text(f"unit_{position}")
        if use:
            try:
                columns[header] = "" if use == LEAVE_OUT else requested_channel(use, f"column_{position}")
            except InvalidValue as error:
                form.add_error(f"column_{position}", f"Column {header[:40]!r}: {error.message}")
        if unit:
            units[header] = unit
    assumed = assumed_zone(form)
    header_line = base.header_line
    if form.text("header_line"):
        is_detected = form.text("header_line") == DETECTED
        header_line = None if is_detected else form.whole_number("header_line", "The header line")
    return ReadingChoices(
        timezone=(None if assumed else form.text("timezone")) or base.timezone,
        assumed_timezone=assumed or bench_timezone,
        columns=columns,
        units=units,
        box=form.typed("box") or base.box,
        day_first=DAY_ORDERS.get(form.typed("date_order"), base.day_first),
        header_line=header_line,
    )


def assumed_zone(form: TypedForm) -> str:
    """The time zone in the form if it is the bench's and nobody confirmed it; "" if a person chose it."""
    zone = form.text("timezone")
    return zone if zone == form.text("assumed_timezone") and not form.ticked("timezone_is_right") else ""


def columns_in_form(form: TypedForm) -> list[int]:
    """Positions of the columns with choices in the form, in order."""
    return sorted(int(found[1]) for name in form.values if (found := _HEADER_FIELD.fullmatch(name)))


def marks_of(form: TypedForm, started_at: datetime, timezone: str) -> TrialMarks:
    """The marks in the form; empty ones are detected from the data."""
    seconds = {each.name: moment_s(form, each.form_name, each.label, started_at, timezone) for each in MARKS}
    kind = form.typed("clear_level_kind") or None
    return TrialMarks(
        **seconds,
        background_ug_m3=form.number("background_ug_m3", "The background"),
        clear_level_kind=kind,
        clear_level_value=form.number("clear_level_value", "The clear level") if kind else None,
    )


def name_marks_as_typed(form: TypedForm) -> None:
    """Moves the error of a stored mark to the field in which it was typed."""
    for each in MARKS:
        if each.name in form.errors:
            form.errors.setdefault(each.form_name, form.errors.pop(each.name))


def new_trial_of(session: Session, form: TypedForm, marks: TrialMarks, timezone: str) -> NewTrial:
    """The trial, after adding new units, settings, rooms, loggers and smoke sources of the form."""
    who = form.text("tested_by")
    kind = form.typed("kind", UNIT_RUNNING)
    unit_id = setting_id = None
    if kind == UNIT_RUNNING:
        unit_id = unit_of(session, form, who)
        setting_id = setting_of(session, form, unit_id, who) if unit_id is not None else None
    room_id = room_chosen(session, form, who)
    form.stop_if_errors()
    return NewTrial(
        kind=kind,
        room_id=room_id or 0,
        unit_under_test_id=unit_id,
        setting_id=setting_id,
        smoke_source_id=smoke_source_chosen(session, form, who),
        logger_id=logger_chosen(session, form, who),
        profile_id=form.whole_number("profile_id", "The profile"),
        started_at=started_at_of(form, timezone),
        marks=marks,
        **{name: form.text(name) for name in TRIAL_TEXTS},
    )


def unit_of(session: Session, form: TypedForm, who: str) -> int | None:
    # without the tick its type decides whether it may make ozone
    known = {"makes_ozone": form.ticked("makes_ozone") or None}
    return _chosen(form, "unit_under_test_id", NewUnit, lambda new: add_unit(session, new, who=who), **known)


def setting_of(session: Session, form: TypedForm, unit_id: int, who: str) -> int | None:
    name = form.text("setting")
    if not name:
        form.add_error("setting", "The setting is empty. Enter its name, such as high.")
        return None
    found = find_setting(session, unit_id, name)
    if found is not None:
        return found
    present = [setting.name for setting in settings_of(session, unit_id)]
    if present and not form.ticked("setting_is_new"):
        form.add_error(
            "setting",
            f"The unit has no setting {name!r}; its settings are: {', '.join(present)}. Enter one of these, or tick "
            "“This is a new setting of the unit”.",
        )
        return None
    return add_setting(session, unit_id, NewSetting(name=name, is_highest=not present), who=who)


def room_chosen(session: Session, form: TypedForm, who: str) -> int | None:
    return _chosen(form, "room_id", NewRoom, lambda new: add_room(session, new, who=who))


def logger_chosen(session: Session, form: TypedForm, who: str) -> int | None:
    return _chosen(form, "logger_id", NewLogger, lambda new: add_logger(session, new, who=who))


def smoke_source_chosen(session: Session, form: TypedForm, who: str) -> int | None:
    return _chosen(form, "smoke_source_id", NewSmokeSource, lambda new: add_smoke_source(session, new, who=who))


def _chosen(form: TypedForm, field: str, definition: type[New], add: Callable[[New], int], **known: Any) -> int | None:
    """Id of the chosen item, or of the new one of the form; `known` is not read from the form."""
    name = _NAMES[field]
    if form.text(field) == NEW:
        new = form.entry(definition, **known)
        form.stop_if_errors()
        return None if new is None else add(new)
    if not form.text(field) and field in _NEEDED:
        form.add_error(field, f"No {name} selected. Choose one, or “a new {name}”.")
        return None
    return form.whole_number(field, f"The {name}")


def new_logger_of(form: TypedForm) -> NewLogger | None:
    """The logger that the form would add, if the analysis can use its properties."""
    if form.text("logger_id") != NEW:
        return None
    return TypedForm(form.values).entry(NewLogger, name="the new logger")


def started_at_of(form: TypedForm, timezone: str) -> datetime | None:
    """Start of the run if the log's clock is not trusted."""
    text = form.text("started_at")
    if not text:
        return None
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        form.add_error("started_at", f"The start: found {text[:40]!r}; enter a time such as 2026-03-31T10:00.")
        return None
    return moment if moment.tzinfo else moment.replace(tzinfo=zone_of(timezone))


def kinds_of_trial() -> Sequence[tuple[str, str]]:
    """Values and labels of the two kinds of trial."""
    return ((UNIT_RUNNING, "unit running"), (EMPTY_ROOM, "empty room, no unit running"))
