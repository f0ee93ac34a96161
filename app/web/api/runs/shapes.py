"""Answers on live runs: the state with level, phase, rate and advice, and what became of a batch of readings."""

from datetime import datetime
from typing import Any, Literal

from pydantic import BaseModel

from app.web.api.runs.bodies import KindOfEvent
from app.web.api.shapes import FromStore, MeasuredShape, NoteShape, OfBench
from app.web.api.trials.shapes import Kind, RoomNamed, UnitNamed, measured_shape


class AdviceShape(FromStore):
    code: str
    message: str


class EventShape(FromStore):
    """A phase event on the bench's clock. An undone one remains, with the time at which it was undone.

    sender_ahead_s : clock of the sender minus the bench's clock, where the sender stated its own
    """

    id: int
    kind: KindOfEvent
    at: datetime
    sender_ahead_s: float | None
    undone_at: datetime | None


class LevelShape(BaseModel):
    channel: str
    unit: str
    value: float
    at: datetime


class PrecisionShape(FromStore):
    """Half-width of the 95 % interval over the rate: now, and after `more_min` more minutes
    where that is `predictable`. A run may be stopped where
    `may_stop` is true; the rule looks at the width alone.
    """

    now: float
    predictable: bool
    more_min: int | None
    then: float | None
    may_stop: bool


class RunShape(OfBench):
    """State of a live run. Times of readings and the level are on the logger's clock, all others on the bench's.

    summary : one sentence on where the run is
    decay_rate_per_h : total decay rate of the readings so far; null until it can be fitted
    clears_in_min : minutes until the clear level is expected; null once it is reached (`is_clear`), or without a rate
    logger_ahead_s : logger's clock minus bench's clock, the highest seen, as readings can only arrive late
    timezone : the bench's, in which local times of a file are read
    changes : rises with every reading and event; the id of the stream's events
    """

    id: int
    at: datetime
    status: Literal["open", "closed", "finished"]
    phase: str
    summary: str
    kind: Kind
    source: str
    room: RoomNamed
    unit_under_test: UnitNamed | None
    setting: str | None
    started_at: datetime
    closes_at: datetime | None
    file_requested: bool
    trial_id: int | None
    changes: int
    readings: int
    first_reading_at: datetime | None
    last_reading_at: datetime | None
    level: LevelShape | None
    minutes_of_decay: float | None
    decay_rate_per_h: MeasuredShape | None
    precision: PrecisionShape | None
    clear_level: float | None
    clears_in_min: MeasuredShape | None
    is_clear: bool
    advice: list[AdviceShape]
    notes: list[NoteShape]
    events: list[EventShape]
    logger_ahead_s: float | None
    logger_clock: str
    conflicts: int
    timezone: str


class ConflictShape(FromStore):
    """A value that was not stored, because another one is stored for the same time."""

    time: datetime
    channel: str
    stored: float
    received: float


class ReceiptShape(BaseModel):
    """What became of a batch: new readings, repeated ones, and values that differ from the stored ones, of which the
    first twenty are named. `file_requested` asks the command that follows a file to finish the run with it.
    """

    run_id: int
    added: int
    repeated: int
    conflicts: int
    conflicting: list[ConflictShape]
    file_requested: bool


def run_shape(state: Any, bench: dict[str, Any]) -> RunShape:
    """Model of a LiveState of the service `live_runs/state.py`, which is not imported here because it needs scipy."""
    run, fit = state.run, state.fit
    shows_rate = fit is not None and state.phase in ("decay", "over")
    rate = fit.decay.fit.decay_rate if shows_rate and fit.decay.fit is not None else None
    level = None
    if state.level is not None and fit is not None and state.level_at is not None:
        level = LevelShape(channel=fit.channel, unit=fit.unit, value=state.level, at=state.level_at)
    return RunShape(
        id=run.id,
        at=state.at,
        status=state.status,
        phase=state.phase,
        summary=state.summary,
        kind=run.kind,
        source=run.source,
        room=RoomNamed.model_validate(run.room),
        unit_under_test=run.unit_under_test and UnitNamed.model_validate(run.unit_under_test),
        setting=run.setting.name if run.setting else None,
        started_at=run.started_at,
        closes_at=state.closes_at,
        file_requested=run.file_requested_at is not None,
        trial_id=run.trial_id,
        changes=run.changes,
        readings=state.extent.readings,
        first_reading_at=state.extent.first_at,
        last_reading_at=state.extent.last_at,
        level=level,
        minutes_of_decay=state.on_min,
        decay_rate_per_h=measured_shape(rate),
        precision=None if state.precision is None else PrecisionShape.model_validate(state.precision),
        clear_level=fit.decay.time_to_clear.clear_level if fit is not None else None,
        clears_in_min=measured_shape(state.clears_in_min),
        is_clear=state.is_clear,
        advice=[AdviceShape.model_validate(each) for each in state.advice],
        notes=[NoteShape.of_note(note) for note in fit.decay.notes] if shows_rate else [],
        events=[EventShape.model_validate(event) for event in state.events],
        logger_ahead_s=run.logger_ahead_s,
        logger_clock=state.clock_words,
        conflicts=run.conflicts,
        timezone=state.timezone,
        **bench,
    )
