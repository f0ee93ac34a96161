"""Demonstration of a live run: the readings of a stored trial of an invented bench, replayed faster than they were
measured. The replay has no thread of its own: each call stores the readings that are due by the bench's clock.
"""

from datetime import UTC, datetime, timedelta

import numpy as np
from sqlalchemy import select
from sqlalchemy.orm import Session

from app.errors import InvalidValue
from app.reading_files.headers.channels import has_known_form, split_detector
from app.services.adding_trials.live_runs.events import SMOKE_LIT, UNIT_ON, add_event
from app.services.adding_trials.live_runs.receive import MOST_READINGS, Reading, receive_readings
from app.services.adding_trials.live_runs.recorded import extent_of
from app.services.adding_trials.live_runs.run import open_run, start_run
from app.services.bench.invented import invented_bench
from app.services.logs.readings import LogReadings, read_readings
from app.services.logs.trial_fields import stored_conditions
from app.services.logs.trial_kinds import UNIT_RUNNING
from app.storage.models.bench import Bench
from app.storage.models.live_runs import LiveRun
from app.storage.models.logs import VALUE_COLUMNS
from app.storage.models.trials import ChannelResult, Trial

SPEED = 60


def start_replay(session: Session, now: datetime | None = None) -> int:
    """Starts a replay of the trial with the fastest usable decay, and returns the id of its run.

    Raises InvalidValue on a bench that is not invented, or has no such trial.
    """
    at = now or datetime.now(UTC)
    trial = session.scalars(
        select(Trial)
        .join(ChannelResult, ChannelResult.trial_id == Trial.id)
        .where(Trial.kind == UNIT_RUNNING, Trial.trashed_at.is_(None), Trial.excluded_at.is_(None))
        .where(ChannelResult.channel == session.get_one(Bench, 1).main_channel)
        .where(ChannelResult.usable == True)  # noqa: E712 -- an integer in the store
        .order_by(ChannelResult.total_decay_per_h.desc(), Trial.id)
        .limit(1)
    ).first()
    if trial is None or not invented_bench(session).invented:
        raise InvalidValue("Only the demonstration bench replays a run. Start a run with your own logger instead.")
    notes = f"Demonstration: invented readings of trial {trial.id}, replayed."
    conditions = stored_conditions(trial, notes=notes, started_at=None)
    return start_run(session, conditions, replays_trial_id=trial.id, now=at).run_id


def replay(session: Session, run_id: int, now: datetime | None = None) -> bool:
    """Stores the readings that are due, and the events of the replayed trial. False once all are stored."""
    at = now or datetime.now(UTC)
    run = open_run(session, run_id, at)
    trial = session.get(Trial, run.replays_trial_id) if run.replays_trial_id is not None else None
    if trial is None:
        raise InvalidValue(f"Live run {run_id} is not a demonstration; its readings come from its logger.")
    log = read_readings(session, trial.log_id)
    due_s = SPEED * (at - run.started_at).total_seconds()
    last_at = extent_of(session, run_id).last_at
    stored_s = -1.0 if last_at is None else (last_at - run.started_at).total_seconds()
    places = np.flatnonzero((log.elapsed_s > stored_s + 1e-6) & (log.elapsed_s <= due_s))[:MOST_READINGS]
    if places.size:
        receive_readings(session, run_id, _readings(run, log, places), now=at)
        _tap(session, run, trial, (stored_s, float(log.elapsed_s[places[-1]])), at)
    return due_s < float(log.elapsed_s[-1])


def _readings(run: LiveRun, log: LogReadings, places: np.ndarray) -> list[Reading]:
    known = [name for name in log.levels if has_known_form(split_detector(name)[0])][: len(VALUE_COLUMNS)]
    return [
        Reading(
            run.started_at + timedelta(seconds=float(log.elapsed_s[place])),
            {name: float(level) for name in known if np.isfinite(level := log.levels[name][place])},
        )
        for place in places
    ]


def _tap(session: Session, run: LiveRun, trial: Trial, between_s: tuple[float, float], at: datetime) -> None:
    """Records the events of the trial between two moments of the log, as a person would tap them."""
    unit_on_s = trial.unit_on_s
    if unit_on_s is None:
        unit_on_s = session.scalars(select(ChannelResult.unit_on_s).where(ChannelResult.trial_id == trial.id)).first()
    for kind, seconds in ((SMOKE_LIT, trial.smoke_start_s), (UNIT_ON, unit_on_s)):
        if seconds is not None and between_s[0] < seconds <= between_s[1]:
            add_event(session, run.id, kind, at=run.started_at + timedelta(seconds=seconds), now=at)
