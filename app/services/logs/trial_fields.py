"""Details of a trial that a person enters, and their validation against the bench and the log."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, fields
from datetime import datetime
from functools import cache
from itertools import pairwise
from typing import Any

from sqlalchemy import Select, bindparam, inspect, select
from sqlalchemy.orm import Session

from app.errors import InvalidValue, NotFound
from app.services.logs.trial_kinds import EMPTY_ROOM, KINDS_OF_TRIAL
from app.services.store.checked_values import LONGEST_NAME, one_of
from app.services.store.clear_level import CLEAR_LEVEL_KINDS, CLEAR_LEVEL_WORDS, check_clear_level
from app.services.store.entry_fields import checked_entry, choice, entry_fields, number, text
from app.storage.models.loggers import Logger, LoggerProfile, SmokeSource
from app.storage.models.rooms import Room
from app.storage.models.units_under_test import SpeedSetting, UnitUnderTest


@dataclass(frozen=True, slots=True, kw_only=True)
class TrialMarks:
    """Marks set by a person, in seconds after the log's first reading; None: detected from the data. A form has them in
    minutes.

    background_ug_m3 : background of the mass channels, if given [µg/m³]
    clear_level_kind, clear_level_value : the level that counts as cleared; None: the bench's default
    """

    smoke_start_s: float | None = number("Smoke start", "s", form_name="smoke_start", zero=True)
    smoke_end_s: float | None = number(
        "Smoke end", "s", "When the source was out. The fit never starts before it.", form_name="smoke_end", zero=True
    )
    unit_on_s: float | None = number("Unit on", "s", form_name="unit_on", zero=True)
    fit_start_s: float | None = number("Fit window start", "s", form_name="fit_start", zero=True)
    fit_end_s: float | None = number("Fit window end", "s", form_name="fit_end", zero=True)
    end_s: float | None = number("Run end", "s", form_name="end", zero=True)
    background_ug_m3: float | None = number("Background, mass channels", "µg/m³", what="The background", zero=True)
    clear_level_kind: str | None = choice(
        "Clear level", CLEAR_LEVEL_KINDS, default=None, choice_words={"": "bench default", **CLEAR_LEVEL_WORDS}
    )
    clear_level_value: float | None = number(
        "Clear level value",
        "µg/m³ or fraction",
        "A fraction of the level at unit on is between 0 and 1, such as 0.05.",
        what="The clear level",
        zero=True,
    )


MARKS = tuple(each for each in entry_fields(TrialMarks) if each.unit == "s")
MARK_NAMES = tuple(each.name for each in MARKS)
# A unit may be switched on while there is still smoke; all other marks have one order.
_IN_ORDER = tuple(tuple(name for name in MARK_NAMES if name != other) for other in ("smoke_end_s", "unit_on_s"))
_MARK_WORDS = {each.name: each.label.lower() for each in MARKS}


@dataclass(frozen=True, slots=True, kw_only=True)
class NewTrial:
    """One run in one room. `started_at` is used where the log's own clock cannot be trusted."""

    kind: str
    room_id: int
    unit_under_test_id: int | None = None
    setting_id: int | None = None
    smoke_source_id: int | None = None
    logger_id: int | None = None
    profile_id: int | None = None
    started_at: datetime | None = None
    filter_state: str = text("Filter condition", "For example new filter, or after 900 h.", longest=LONGEST_NAME)
    tested_by: str = text(
        "Tested by", what="The name of the tester", longest=LONGEST_NAME, private=True, autocomplete="name"
    )
    notes: str = text("Notes", lines=3)
    marks: TrialMarks = field(default_factory=TrialMarks)


# what is stored with a trial as it was entered; its profile belongs to the log, and its start may come from there
CONDITIONS = tuple(each.name for each in fields(NewTrial) if each.name not in ("profile_id", "started_at", "marks"))
TRIAL_TEXTS = tuple(each.name for each in entry_fields(NewTrial))  # what is typed of a trial, besides what is chosen


def stored_conditions(row: object, **changed: Any) -> NewTrial:
    """The conditions of a stored trial or live run, with some of them changed."""
    conditions = {each.name: getattr(row, each.name) for each in fields(NewTrial) if hasattr(row, each.name)}
    return NewTrial(**(conditions | changed))


def checked_trial(session: Session, new: NewTrial, *, complete: bool = True) -> NewTrial:
    """The trial with trimmed texts; raises InvalidValue or NotFound if it does not fit the bench.

    complete : False where unit and setting may still be missing, as in a live run
    """
    one_of(new.kind, KINDS_OF_TRIAL, "kind", "The trial type")
    _present(session, Room, new.room_id, "room")
    _present(session, SmokeSource, new.smoke_source_id, "smoke source")
    _present(session, Logger, new.logger_id, "logger")
    _present(session, LoggerProfile, new.profile_id, "logger profile")
    _check_unit(session, new, complete)
    if new.started_at is not None and new.started_at.tzinfo is None:
        raise InvalidValue(
            f"The start {new.started_at.isoformat()} has no time zone; enter a time such as 2026-01-05T10:00Z.",
            field="started_at",
        )
    return NewTrial(**checked_entry(new))


def check_marks(marks: TrialMarks, last_reading_s: float) -> None:
    """Marks must lie inside the log, in chronological order; raises InvalidValue otherwise."""
    for name in MARK_NAMES:
        at = getattr(marks, name)
        if at is not None and (not math.isfinite(at) or not 0 <= at <= last_reading_s):
            raise InvalidValue(
                f"The mark for {_MARK_WORDS[name]} is at {at:.10g} s; the log runs from 0 to {last_reading_s:.10g} s. "
                "Move the mark within the log.",
                field=name,
            )
    for names in _IN_ORDER:
        _check_order([(name, at) for name in names if (at := getattr(marks, name)) is not None])
    _check_window(marks)
    _check_levels(marks)


def _check_order(set_marks: Sequence[tuple[str, float]]) -> None:
    for (earlier, earlier_s), (name, at) in pairwise(set_marks):
        if at < earlier_s:
            raise InvalidValue(
                f"The mark for {_MARK_WORDS[name]} is at {at:.10g} s, before {_MARK_WORDS[earlier]} at "
                f"{earlier_s:.10g} s. Marks must be in the order of the run; move one of the two.",
                field=name,
            )


def _check_window(marks: TrialMarks) -> None:
    if marks.fit_start_s is not None and marks.fit_start_s == marks.fit_end_s:
        raise InvalidValue(
            f"The fit window starts and ends at {marks.fit_start_s:.10g} s. Move one of the two marks.",
            field="fit_end_s",
        )


def _check_levels(marks: TrialMarks) -> None:
    background = marks.background_ug_m3
    if background is not None and not (math.isfinite(background) and background >= 0):
        raise InvalidValue(
            f"The background is {background:g} µg/m³; it must be zero or above. Correct it, or leave it empty to "
            "detect it from the data.",
            field="background_ug_m3",
        )
    if marks.clear_level_kind is None and marks.clear_level_value is None:
        return
    if marks.clear_level_kind is None or marks.clear_level_value is None:
        raise InvalidValue(
            "The clear level needs both a type and a value, but one is empty. Enter both, or leave both empty to use "
            "the bench default.",
            field="clear_level_value",
        )
    check_clear_level(marks.clear_level_kind, marks.clear_level_value)


def _present(session: Session, table: type, key: int | None, what: str) -> None:
    if key is None:
        return
    session.flush()
    if session.connection().scalar(_id_query(table), {"id": key}) is None:
        raise NotFound(what, key)


@cache
def _id_query(table: type) -> Select[int]:
    """Cached: building the statement takes longer than running it."""
    columns: Any = inspect(table).columns
    return select(columns.id).where(columns.id == bindparam("id"))


def _check_unit(session: Session, new: NewTrial, complete: bool) -> None:
    if new.kind == EMPTY_ROOM:
        if new.unit_under_test_id is not None or new.setting_id is not None:
            raise InvalidValue(
                "An empty-room run has no unit or setting. Leave them empty, or choose the type “unit running”.",
                field="unit_under_test_id",
            )
        return
    if new.unit_under_test_id is None and not complete and new.setting_id is None:
        return
    if new.unit_under_test_id is None:
        raise InvalidValue(
            "A run with the unit running needs a unit. Choose one.",
            field="unit_under_test_id",
        )
    asked = {"unit": new.unit_under_test_id, "setting": new.setting_id}
    unit = session.connection().execute(_unit_and_setting_query(), asked).first()
    if unit is None:
        raise NotFound("unit under test", new.unit_under_test_id)
    if unit.trashed_at is not None:
        raise InvalidValue(
            f"{unit.maker} {unit.model} is in the trash. Restore it first, or choose another unit.",
            field="unit_under_test_id",
        )
    if new.setting_id is None and not complete:
        return
    if new.setting_id is None:
        raise InvalidValue(
            "A run with the unit running needs a setting. Choose one.",
            field="setting_id",
        )
    if unit.setting_id is None:
        raise InvalidValue(
            f"{unit.maker} {unit.model} has no setting {new.setting_id}. Choose one of its settings.",
            field="setting_id",
        )


@cache
def _unit_and_setting_query() -> Select[*tuple[Any, ...]]:
    """A unit, and the id of the setting if it is one of this unit."""
    of_unit = (SpeedSetting.unit_under_test_id == UnitUnderTest.id) & (SpeedSetting.id == bindparam("setting"))
    unit = UnitUnderTest.maker, UnitUnderTest.model, UnitUnderTest.trashed_at
    return (
        select(*unit, SpeedSetting.id.label("setting_id"))
        .outerjoin(SpeedSetting, of_unit)
        .where(UnitUnderTest.id == bindparam("unit"))
    )
