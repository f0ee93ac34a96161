"""Starts live runs, finds them, and says whether they still accept readings."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from sqlalchemy import select, update
from sqlalchemy.orm import Session, selectinload

from app.errors import AlreadyStored, NotFound, RunEnded
from app.services.logs.trial_fields import (
    CONDITIONS,
    TRIAL_TEXTS,
    NewTrial,
    TrialMarks,
    checked_trial,
    stored_conditions,
)
from app.services.store.audit import record_change
from app.services.store.checked_values import idempotency_key
from app.storage.models.live_runs import LiveRun

SUBJECT = "live run"
# A run from which nothing was heard for so long is closed and stays as it is. Common practice, no source.
CLOSED_AFTER = timedelta(hours=2)
_MOST_LISTED = 20
POSTED, FILE, DEMONSTRATION = "posted", "file", "demonstration"
_MAY_FOLLOW = ("unit_under_test_id", "setting_id", "smoke_source_id", "logger_id", "profile_id", *TRIAL_TEXTS)


@dataclass(frozen=True, slots=True)
class StartedRun:
    """Id of the run; `new` is False if the same request had started it before."""

    run_id: int
    new: bool


def start_run(
    session: Session,
    new_trial: NewTrial,
    *,
    source: str = POSTED,
    key: str = "",
    replays_trial_id: int | None = None,
    join: bool = False,
    now: datetime | None = None,
) -> StartedRun:
    """Starts a run in a room. Unit and setting may follow when it is finished.

    key : a repeated request with the same key returns the run that the first one started
    join : go on with the room's open run, such as one started on the page; it takes what it does not know yet

    Raises AlreadyStored if an open run is in the same room, InvalidValue or NotFound for what does not fit the bench.
    """
    at = now or datetime.now(UTC)
    start_key = idempotency_key(key)
    if start_key and (present := session.scalar(select(LiveRun.id).where(LiveRun.start_key == start_key))):
        return StartedRun(present, new=False)
    new = checked_trial(session, new_trial, complete=False)
    for other in open_runs(session, at):
        if other.room_id == new.room_id:
            if join and _may_join(other, source, new.kind):
                _join(session, other, new, source, start_key)
                return StartedRun(other.id, new=False)
            raise AlreadyStored(
                f"{other.room.name} already has live run {other.id}, started at {other.started_at:%Y-%m-%d %H:%M} UTC. "
                "Finish that run first, or choose another room.",
                field="room_id",
            )
    run = LiveRun(
        **{name: getattr(new, name) for name in CONDITIONS},
        profile_id=new.profile_id,
        source=source if replays_trial_id is None else DEMONSTRATION,
        replays_trial_id=replays_trial_id,
        start_key=start_key or None,
        started_at=at,
        last_heard_at=at,
        changes=0,
        conflicts=0,
    )
    session.add(run)
    session.flush()
    record_change(session, new.tested_by, "added", SUBJECT, run.id, after=run.kind, at=at)
    return StartedRun(run.id, new=True)


def _may_join(run: LiveRun, source: str, kind: str) -> bool:
    """Whether a source may feed a run. A file is stored whole, so it needs a run without readings."""
    return run.source == POSTED and run.kind == kind and (source == POSTED or run.logger_ahead_s is None)


def _join(session: Session, run: LiveRun, new: NewTrial, source: str, start_key: str) -> None:
    """Sets the source, and the conditions that the run does not have yet."""
    given = {name: value for name in _MAY_FOLLOW if (value := getattr(new, name))}
    if run.unit_under_test_id not in (None, new.unit_under_test_id):
        given.pop("setting_id", None)  # it is a setting of another unit
    changed = {name: value for name, value in given.items() if not getattr(run, name)}
    if source != run.source:
        changed |= {"source": source}
    for name, value in changed.items():
        before = getattr(run, name)
        setattr(run, name, value)
        record_change(session, new.tested_by, "changed", SUBJECT, run.id, name, before or None, value)
    run.start_key = run.start_key or start_key or None
    run.changes += bool(changed)
    session.flush()


def get_run(session: Session, run_id: int) -> LiveRun:
    """The run with room, unit and setting."""
    related = (selectinload(LiveRun.room), selectinload(LiveRun.unit_under_test), selectinload(LiveRun.setting))
    run = session.scalars(select(LiveRun).where(LiveRun.id == run_id).options(*related)).first()
    if run is None:
        raise NotFound("live run", run_id)
    return run


def open_run(session: Session, run_id: int, now: datetime) -> LiveRun:
    """The run if it still accepts readings and events; RunEnded otherwise."""
    run = get_run(session, run_id)
    if run.finished_at is not None:
        raise RunEnded(f"Live run {run_id} was finished as trial {run.trial_id}. Start a new run.")
    closed = closed_at(run, now)
    if closed is not None:
        raise RunEnded(
            f"Live run {run_id} was closed at {closed:%Y-%m-%d %H:%M} UTC, after {_hours(CLOSED_AFTER)} without a "
            "reading. Its readings are stored; finish it to make it a trial, or start a new run."
        )
    return run


def closed_at(run: LiveRun, now: datetime) -> datetime | None:
    """When an unfinished run was closed for silence; None while it is open."""
    closes = run.last_heard_at + CLOSED_AFTER
    return closes if run.finished_at is None and now >= closes else None


def open_runs(session: Session, now: datetime) -> Sequence[LiveRun]:
    """Runs that accept readings, oldest first."""
    return session.scalars(
        select(LiveRun)
        .where(LiveRun.finished_at.is_(None), LiveRun.last_heard_at > now - CLOSED_AFTER)
        .options(selectinload(LiveRun.room), selectinload(LiveRun.unit_under_test), selectinload(LiveRun.setting))
        .order_by(LiveRun.id)
    ).all()


def recent_runs(session: Session) -> Sequence[LiveRun]:
    """The newest runs, open or not."""
    return session.scalars(
        select(LiveRun)
        .options(selectinload(LiveRun.room), selectinload(LiveRun.unit_under_test), selectinload(LiveRun.setting))
        .order_by(LiveRun.id.desc())
        .limit(_MOST_LISTED)
    ).all()


def count_change(session: Session, run: LiveRun, now: datetime) -> int:
    """Counts a change of an open run and notes that it was heard; returns the counter."""
    changes: int = session.execute(
        update(LiveRun)
        .where(LiveRun.id == run.id)
        .values(changes=LiveRun.changes + 1, last_heard_at=max(now, run.last_heard_at))
        .returning(LiveRun.changes)
    ).scalar_one()
    session.refresh(run)
    return changes


def conditions_of(run: LiveRun, marks: TrialMarks | None = None) -> NewTrial:
    """The run's conditions as those of a trial."""
    return stored_conditions(run, marks=marks or TrialMarks())


def _hours(span: timedelta) -> str:
    return f"{span.total_seconds() / 3600:g} h"
