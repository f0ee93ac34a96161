"""Bodies of the requests of a live run: its start, a batch of readings, an event, and its end."""

from typing import Annotated, Literal

from fastapi import UploadFile
from pydantic import ConfigDict, Field, FiniteFloat, JsonValue
from sqlalchemy.orm import Session

from app.services.logs.trial_fields import TRIAL_TEXTS, NewTrial
from app.web.api.derived import body
from app.web.api.shapes import IdOrNone, RequestBody
from app.web.api.trials.form import (
    BenchNames,
    FileReading,
    MarkFields,
    TimeWithZone,
    named_ids,
    needed_room,
)
from app.web.api.trials.shapes import Kind

_START: dict[str, JsonValue] = {"room": "Room A", "maker": "Maker", "model": "Model 1", "setting": "high"}
_READING: dict[str, JsonValue] = {"time": "2026-01-05T10:00:00Z", "pm2_5": 212.4, "relative_humidity": 41.0}
KindOfEvent = Literal["smoke lit", "mixing fan off", "unit on", "unit off"]


@body(NewTrial, without=("started_at",))
class RunStart(BenchNames):
    """Conditions of a live run, as of a trial. Only the room is required; the unit may follow when it is finished.

    source : `file` if a command follows a file and will send it when the run is finished
    join : go on with the open run of the room where there is one of the same kind, such as one started on the page; a
        file joins only a run without readings
    """

    model_config = ConfigDict(extra="forbid", json_schema_extra={"examples": [_START]})

    kind: Kind = "unit running"
    source: Literal["posted", "file"] = "posted"
    join: bool = False
    profile_id: IdOrNone = None


class ReadingShape(RequestBody):
    """One reading: a time with its zone, and a level for each channel, such as `pm2_5` or `relative_humidity`."""

    model_config = ConfigDict(extra="allow")
    __pydantic_extra__: dict[str, FiniteFloat | None]

    time: TimeWithZone


class ReadingLot(RequestBody):
    """Readings in any order. Send each batch with an `Idempotency-Key`, to repeat it if no answer comes."""

    model_config = ConfigDict(extra="forbid", json_schema_extra={"examples": [{"readings": [_READING]}]})

    readings: Annotated[list[ReadingShape], Field(min_length=1, max_length=5000)]


class RunEvent(RequestBody):
    """A phase event, or the undoing of one.

    kind : what happened; omit it to undo
    at, sent_at : when it happened, and when the request is sent, both on the sender's clock
    undo : id of the event to undo
    """

    model_config = ConfigDict(extra="forbid", json_schema_extra={"examples": [{"kind": "unit on"}, {"undo": 7}]})

    kind: KindOfEvent | None = None
    at: TimeWithZone | None = None
    sent_at: TimeWithZone | None = None
    undo: IdOrNone = None


@body(NewTrial, without=("started_at",))
class RunFinish(MarkFields, BenchNames, FileReading):
    """The followed file, if there is one, how to read it, and what replaces conditions and marks of the run."""

    log: UploadFile | None = None
    kind: Kind | None = None
    profile_id: IdOrNone = None


def run_conditions(session: Session, asked: RunStart) -> NewTrial:
    """Conditions of a new run, with ids in place of names."""
    sent = asked.model_dump()
    given = {name: sent[name] for name in ("kind", "profile_id", *TRIAL_TEXTS)}
    return NewTrial(**needed_room(named_ids(session, asked)), **given)


def changed_conditions(session: Session, asked: RunFinish, unit_id: int | None) -> dict[str, object]:
    """Conditions that the end of a run replaces: those that were sent and are not empty."""
    sent = asked.model_dump(exclude={"log"})
    ids = {name: key for name, key in named_ids(session, asked, unit_id).items() if key is not None}
    names = ("kind", "profile_id", *TRIAL_TEXTS)
    return ids | {name: sent[name] for name in names if sent[name]}
