"""Phase events of a live run, each with undo, and the marks of a trial that follow from them."""

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from typing import Any

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from app.errors import InvalidValue, NotFound
from app.services.adding_trials.live_runs.clock import logger_correction_s
from app.services.adding_trials.live_runs.run import DEMONSTRATION, SUBJECT, count_change, open_run
from app.services.logs.trial_fields import TrialMarks
from app.services.logs.trial_kinds import EMPTY_ROOM
from app.services.store.audit import record_change
from app.services.store.checked_values import idempotency_key, one_of
from app.storage.models.live_runs import LiveEvent, LiveRun, live_readings

SMOKE_LIT, FAN_OFF, UNIT_ON, UNIT_OFF = "smoke lit", "mixing fan off", "unit on", "unit off"
KINDS_OF_EVENT = (SMOKE_LIT, FAN_OFF, UNIT_ON, UNIT_OFF)
_EARLIEST = timedelta(days=1)  # an event longer ago than this is a mistake of the clock


def add_event(
    session: Session,
    run_id: int,
    kind: str,
    *,
    at: datetime | None = None,
    sent_at: datetime | None = None,
    key: str = "",
    now: datetime | None = None,
) -> int:
    """Records a phase event of an open run and returns its id.

    at : when it happened, on the sender's clock; None: when it arrives
    sent_at : the sender's clock when the request was sent; the difference from the bench's clock corrects `at`
    key : a repeated request with the same key records nothing
    """
    moment = now or datetime.now(UTC)
    one_of(kind, KINDS_OF_EVENT, "kind", "The event")
    event_key = idempotency_key(key)
    if event_key:
        same = select(LiveEvent.id).where(LiveEvent.run_id == run_id, LiveEvent.idempotency_key == event_key)
        if (present := session.scalar(same)) is not None:
            return present
    run = open_run(session, run_id, moment)
    ahead_s = None if sent_at is None else (sent_at - moment).total_seconds()
    if run.source == DEMONSTRATION:  # events of a replay are on the clock of its readings
        happened = at or _newest_reading_at(session, run_id) or moment
    else:
        happened = _on_bench_clock(at, ahead_s, moment)
    count_change(session, run, moment)
    event = LiveEvent(
        run_id=run_id,
        kind=kind,
        at=happened,
        received_at=moment,
        sender_ahead_s=ahead_s,
        idempotency_key=event_key or None,
    )
    session.add(event)
    session.flush()
    record_change(session, run.tested_by, "added", SUBJECT, run_id, kind, after=happened, at=moment)
    return event.id


def undo_event(session: Session, run_id: int, event_id: int, *, now: datetime | None = None) -> None:
    """Undoes an event of an open run; it stays in the store, marked as undone."""
    moment = now or datetime.now(UTC)
    run = open_run(session, run_id, moment)
    event = session.get(LiveEvent, event_id)
    if event is None or event.run_id != run_id:
        raise NotFound(f"event of live run {run_id} with the number", event_id)
    if event.undone_at is None:
        event.undone_at = moment
        count_change(session, run, moment)
        record_change(session, run.tested_by, "taken back", SUBJECT, run_id, event.kind, before=event.at, at=moment)


def events_of(session: Session, run_id: int) -> Sequence[LiveEvent]:
    """All events of a run in order of time, undone ones too."""
    return session.scalars(
        select(LiveEvent).where(LiveEvent.run_id == run_id).order_by(LiveEvent.at, LiveEvent.id)
    ).all()


def event_marks(run: LiveRun, events: Sequence[LiveEvent], first_at: datetime, last_s: float) -> TrialMarks:
    """Marks that follow from the events, in seconds after the first reading; a later event of a kind replaces earlier
    ones, and one outside the readings gives no mark.

    In an empty room the decay is undisturbed from mixing fan off on.
    """
    named = {SMOKE_LIT: "smoke_start_s", UNIT_OFF: "end_s", UNIT_ON: "unit_on_s"}
    if run.kind == EMPTY_ROOM:
        named = {SMOKE_LIT: "smoke_start_s", FAN_OFF: "unit_on_s"}
    correction = timedelta(seconds=logger_correction_s(run))
    marks: dict[str, Any] = {}
    for event in events:
        seconds = round((event.at + correction - first_at).total_seconds(), 3)
        if event.undone_at is None and event.kind in named and 0 <= seconds <= last_s:
            marks[named[event.kind]] = seconds
    return TrialMarks(**marks)


def _on_bench_clock(at: datetime | None, ahead_s: float | None, now: datetime) -> datetime:
    if at is None:
        return now
    happened = at - timedelta(seconds=ahead_s or 0.0)
    if not now - _EARLIEST <= happened <= now + timedelta(seconds=60):
        raise InvalidValue(
            f"The event is at {happened:%Y-%m-%d %H:%M:%S} UTC, but the bench's clock shows {now:%Y-%m-%d %H:%M:%S} "
            "UTC. Send `sent_at` with the sender's clock, or correct that clock.",
            field="at",
        )
    return happened


def _newest_reading_at(session: Session, run_id: int) -> datetime | None:
    newest = select(func.max(live_readings.c.at_us)).where(live_readings.c.run_id == run_id)
    at_us = session.scalar(newest)
    return None if at_us is None else datetime.fromtimestamp(at_us / 1e6, UTC)
