"""Multipart form that adds a trial: log, conditions, marks, how to read the file."""

from collections.abc import Callable, Mapping
from dataclasses import fields
from datetime import datetime
from typing import Annotated, Any, Literal

from fastapi import UploadFile
from pydantic import AfterValidator, Field
from sqlalchemy.orm import Session

from app.errors import InvalidValue
from app.reading_files.log_table import ReadingChoices
from app.services.bench.loggers import find_logger
from app.services.bench.rooms import find_room
from app.services.bench.smoke_sources import find_smoke_source
from app.services.logs.trial_fields import TRIAL_TEXTS, NewTrial, TrialMarks
from app.services.store.checked_values import LONGEST_NAME
from app.services.units.entry import find_setting, find_unit
from app.web.api.derived import body
from app.web.api.shapes import LARGEST_ID, IdOrNone, RequestBody
from app.web.api.trials.shapes import Kind


def _with_zone(moment: datetime) -> datetime:
    if moment.tzinfo is None:
        raise ValueError(
            f"The time {moment.isoformat()} has no time zone. Write it like 2026-03-31T10:00:00Z or with +02:00"
        )
    return moment


IdField = Annotated[int, Field(ge=1, le=LARGEST_ID)]
Name = Annotated[str, Field(max_length=LONGEST_NAME)]
TimeWithZone = Annotated[datetime, AfterValidator(_with_zone)]


@body(TrialMarks)
class MarkFields(RequestBody):
    """Marks of a trial; null: detected from the data."""


class BenchNames(RequestBody):
    """Items of the bench by name, where no id is given."""

    maker: Name = ""
    model: Name = ""
    setting: Name = ""
    room: Name = ""
    smoke_source: Name = ""
    logger: Name = ""


class FileReading(RequestBody):
    """How to read the file.

    header_line : line that names the columns, from 1; null: as in the profile, or detected
    columns, units : use of a column, as `HEADER=CHANNEL` and `HEADER=UNIT`, one field per column;
    `HEADER=` excludes the column, `HEADER=own:NAME` adds a channel that is not in the list
    """

    timezone: Name = ""
    box: Name = ""
    date_order: Literal["", "day first", "month first"] = ""
    header_line: Annotated[int, Field(ge=1, le=10_000_000)] | None = None
    columns: list[str] = Field(default=[])
    units: list[str] = Field(default=[])


@body(NewTrial)
class TrialForm(MarkFields, BenchNames, FileReading):
    """Items of the bench are given by id, or by name without an id.

    columns, units : use of a column, as `HEADER=CHANNEL` and `HEADER=UNIT`, one field per column;
    `HEADER=` excludes the column, `HEADER=own:NAME` adds a channel that is not in the list
    """

    log: UploadFile
    kind: Kind = "unit running"
    profile_id: IdOrNone = None
    started_at: TimeWithZone | None = None


def reading_choices(form: FileReading, kept: ReadingChoices | None) -> ReadingChoices:
    """Reading choices of the form, which override those of the logger's profile."""
    from app.reading_files.columns.asked_channels import (
        requested_channel,  # loaded when used: with the rest of the reading
    )

    base = kept or ReadingChoices()
    return ReadingChoices(
        timezone=form.timezone or base.timezone,
        columns=base.columns
        | {
            header: requested_channel(use, "columns")
            for header, use in _pairs(form.columns, "columns", "CHANNEL").items()
        },
        units=base.units | _pairs(form.units, "units", "UNIT"),
        box=form.box or base.box,
        day_first=base.day_first if not form.date_order else form.date_order == "day first",
        header_line=base.header_line if form.header_line is None else form.header_line,
    )


def new_trial(session: Session, form: TrialForm) -> NewTrial:
    """The trial with ids in place of names. Raises InvalidValue for an unknown name."""
    sent = form.model_dump(exclude={"log"})
    ids = named_ids(session, form)
    given = {name: sent[name] for name in ("kind", "profile_id", "started_at", *TRIAL_TEXTS)}
    return NewTrial(**needed_room(ids), marks=given_marks(sent), **given)


def given_marks(sent: Mapping[str, Any]) -> TrialMarks:
    """The marks among the fields of a request."""
    return TrialMarks(**{field.name: sent[field.name] for field in fields(TrialMarks)})


def needed_room(ids: dict[str, int | None]) -> dict[str, Any]:
    """The ids, if there is a room among them; InvalidValue otherwise."""
    if ids["room_id"] is None:
        raise InvalidValue("The trial has no room; enter room_id or a room name.", field="room_id")
    return ids


def named_ids(session: Session, form: BenchNames, unit_id: int | None = None) -> dict[str, int | None]:
    """Ids of unit, setting, room, smoke source and logger, which are given by id or by name; None if not given.

    unit_id : unit of a setting that is named without a unit
    """
    sent = form.model_dump(exclude={"log"})
    known_unit_id, unit_id = unit_id, sent["unit_under_test_id"]
    if unit_id is None and (form.maker or form.model):
        unit_id = find_unit(session, form.maker, form.model)
        _found(unit_id, f"unit {form.maker} {form.model}".strip(), "model", "POST /api/units")
    setting_id = sent["setting_id"]
    of_unit = known_unit_id if unit_id is None else unit_id
    if setting_id is None and form.setting and of_unit is not None:
        setting_id = find_setting(session, of_unit, form.setting)
        _found(setting_id, f"setting {form.setting!r} of that unit", "setting", f"PATCH /api/units/{of_unit}")
    shared = {
        f"{name}_id": sent[f"{name}_id"] or _named(session, find, name, sent[name])
        for name, find in (("room", find_room), ("smoke_source", find_smoke_source), ("logger", find_logger))
    }
    return {"unit_under_test_id": unit_id, "setting_id": setting_id, **shared}


def _named(session: Session, find: Callable[[Session, str], int | None], field: str, name: str) -> int | None:
    if not name:
        return None
    found = find(session, name)
    words = field.replace("_", " ")
    _found(found, f"{words} {name!r}", field, f"the page /{words.replace(' ', '-')}s/add")
    return found


def _found(key: int | None, what: str, field: str, where: str) -> None:
    if key is None:
        raise InvalidValue(
            f"There is no {what} on the bench. Correct the name, or add it first with {where}.", field=field
        )


def _pairs(texts: list[str], field: str, needed: str) -> dict[str, str]:
    pairs = {}
    for text in texts:
        header, sign, value = text.rpartition("=")
        if not sign or not header:
            raise InvalidValue(
                f"Found {text[:80]!r}; HEADER={needed} is required, with the header exactly as in the file.",
                field=field,
            )
        pairs[header] = value.strip()
    return pairs
