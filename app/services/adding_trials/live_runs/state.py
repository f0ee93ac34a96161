"""State of a live run: level, phase, fitted rate, projected time to clear, and advice."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from sqlalchemy.orm import Session

from app.compute.live_runs.advice import Advice, LiveFacts, Phase, Tapped, advice_on, phase_of, summary_of
from app.compute.live_runs.precision import Precision
from app.compute.statistics.measured import Measured
from app.services.adding_trials.live_runs.clock import clock_words, logger_correction_s
from app.services.adding_trials.live_runs.events import FAN_OFF, SMOKE_LIT, UNIT_OFF, UNIT_ON, events_of
from app.services.adding_trials.live_runs.fits import LiveFit, live_fit
from app.services.adding_trials.live_runs.recorded import Extent, extent_of
from app.services.adding_trials.live_runs.run import CLOSED_AFTER, DEMONSTRATION, closed_at, get_run
from app.services.logs.trial_kinds import EMPTY_ROOM
from app.storage.models.bench import Bench
from app.storage.models.live_runs import LiveEvent, LiveRun

OPEN, CLOSED, FINISHED = "open", "closed", "finished"


@dataclass(frozen=True, slots=True)
class LiveState:
    """A run at one moment.

    status : "open", "closed" for silence, or "finished"; closes_at : when silence will close an open run
    fit : analysis of the readings so far, at most some seconds old; None without readings
    summary : one sentence on where the run is
    level : newest level of the channel shown, at `level_at` on the logger's clock
    on_min : minutes since the decay began; clears_in_min : until the clear level is expected, None once it is reached
    """

    run: LiveRun
    at: datetime
    status: str
    phase: Phase
    summary: str
    closes_at: datetime | None
    extent: Extent
    fit: LiveFit | None
    level: float | None
    level_at: datetime | None
    on_min: float | None
    clears_in_min: Measured | None
    is_clear: bool
    events: Sequence[LiveEvent]
    advice: tuple[Advice, ...]
    clock_words: str
    timezone: str

    @property
    def logger_correction_s(self) -> float:
        """Seconds from the bench's clock to the logger's."""
        return logger_correction_s(self.run)

    @property
    def precision(self) -> Precision | None:
        return self.fit.precision if self.fit and self.phase in ("decay", "over") else None


def live_state(session: Session, run_id: int, now: datetime | None = None) -> LiveState:
    """Raises NotFound for an unknown run."""
    at = now or datetime.now(UTC)
    run, events, extent = get_run(session, run_id), events_of(session, run_id), extent_of(session, run_id)
    fit = live_fit(session, run, events, extent, at)
    standing = {event.kind for event in events if event.undone_at is None}
    tapped = Tapped(
        smoke_lit=SMOKE_LIT in standing,
        fan_off=FAN_OFF in standing,
        unit_on=UNIT_ON in standing,
        unit_off=UNIT_OFF in standing,
    )
    phase = phase_of(tapped, empty_room=run.kind == EMPTY_ROOM, readings=extent.readings)
    ended = closed_at(run, at)
    status = FINISHED if run.finished_at is not None else OPEN if ended is None else CLOSED
    silent_s = _silent_s(run, extent, at)
    on_min = _minutes_of_decay(fit, extent) if phase in ("decay", "over") else None
    is_clear = fit is not None and on_min is not None and fit.decay.time_to_clear.reached
    clears_in_min = _clears_in_min(fit, on_min)
    facts = LiveFacts(
        phase=phase,
        empty_room=run.kind == EMPTY_ROOM,
        unit=fit.unit if fit else "",
        level=fit.level if fit else None,
        reference_level=fit.reference_level if fit else 0.0,
        silent_s=silent_s if status == OPEN else 0.0,
        interval_s=fit.interval_s if fit else 0.0,
        decay=fit.decay if fit else None,
        precision=fit.precision if fit else None,
        humidity_pct=fit.humidity_pct if fit else None,
    )
    return LiveState(
        run=run,
        at=at,
        status=status,
        phase=phase,
        summary=summary_of(facts, on_min, clears_in_min, is_clear=is_clear),
        closes_at=run.last_heard_at + CLOSED_AFTER if status == OPEN else None,
        extent=extent,
        fit=fit,
        level=facts.level,
        level_at=extent.last_at,
        on_min=on_min,
        clears_in_min=clears_in_min,
        is_clear=is_clear,
        events=events,
        advice=_advice(run, facts, status),
        clock_words=clock_words(run),
        timezone=session.get_one(Bench, 1).timezone,
    )


def _silent_s(run: LiveRun, extent: Extent, at: datetime) -> float:
    """Seconds since a reading arrived: the newest one on the bench's clock, which is right within the offset found."""
    if run.source == DEMONSTRATION:
        return (at - run.last_heard_at).total_seconds()
    if extent.last_at is None:
        return (at - run.started_at).total_seconds()
    arrived = extent.last_at - timedelta(seconds=run.logger_ahead_s or 0.0)
    return max((at - arrived).total_seconds(), 0.0)


def _minutes_of_decay(fit: LiveFit | None, extent: Extent) -> float | None:
    if fit is None or extent.first_at is None or extent.last_at is None:
        return None
    return (extent.last_at - extent.first_at).total_seconds() / 60 - 60 * fit.decay.unit_on_h


def _clears_in_min(fit: LiveFit | None, on_min: float | None) -> Measured | None:
    """The fitted curve's own crossing, counted from now."""
    if fit is None or on_min is None or fit.decay.time_to_clear.reached:
        return None
    predicted = fit.decay.time_to_clear.predicted
    if predicted is None:
        return None
    return Measured(predicted.value - on_min, predicted.uncertainty, predicted.degrees_of_freedom)


def _advice(run: LiveRun, facts: LiveFacts, status: str) -> tuple[Advice, ...]:
    if status == FINISHED:
        return (Advice("finished", f"Finished: the run was stored as trial {run.trial_id}."),)
    advice = list(advice_on(facts))
    if status == CLOSED:
        hours = f"{CLOSED_AFTER.total_seconds() / 3600:g} h"
        words = f"Closed after {hours} without a reading. The readings are stored; finish the run to make it a trial."
        advice.insert(0, Advice("closed", words))
    elif run.file_requested_at is not None:
        advice.insert(0, Advice("file_requested", "Waiting for the watch command to send its file and finish the run."))
    if abs(logger_correction_s(run)) >= 2.0:
        advice.append(Advice("logger_clock", clock_words(run)))
    if run.conflicts:
        number = f"{run.conflicts} value{'' if run.conflicts == 1 else 's'}"
        words = f"{number} differed from the value stored for the same time; the first one received is used."
        advice.append(Advice("conflicting_readings", words))
    return tuple(advice)
