"""Analyses every stored trial again, on all cores, and lists the changes before any is accepted."""

import math
import multiprocessing
import os
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from functools import partial
from typing import Any

from sqlalchemy import Engine, delete, insert, select, update
from sqlalchemy.orm import Session

from app.compute.method import METHOD_VERSION
from app.errors import InvalidValue
from app.services.logs.logger_checks.linearity import lines_by_day
from app.services.logs.logger_noise import NoiseByTrial, bench_evidence, numbers_of
from app.services.results.recompute_worker import TrialTask, WorkedTrial, work
from app.services.results.rows import SAME_WITHIN, is_same, size_of
from app.services.results.trial_results import stored_marks, timing_of
from app.services.results.update_derived import update_all_derived_results
from app.services.store.audit import AT_THE_DESK, acting_name
from app.services.store.id_batches import in_batches
from app.services.store.progress import OnProgress, no_progress
from app.storage.engine import session_scope
from app.storage.models.bench import Bench, Change
from app.storage.models.loggers import Logger
from app.storage.models.trials import ChannelResult, ResultNote, Trial

# Compared columns; the others follow from these.
COMPARED = (
    "usable",
    "start_level",
    "total_decay_per_h",
    "total_decay_uncertainty_per_h",
    "clean_air_delivery_rate_m3_per_h",
    "clean_air_delivery_rate_uncertainty",
    "standard_clearing_time_min",
    "time_to_clear_min",
    "not_cleared_before_min",
)


@dataclass(frozen=True, slots=True)
class Difference:
    """One changed number: before, after, relative change (None where meaningless), and what it is small against."""

    trial_id: int
    channel: str
    field: str
    before: float | None
    after: float | None
    share: float | None
    size: float


@dataclass(frozen=True, slots=True)
class RecomputePlan:
    """A re-analysis to be accepted or discarded.

    trials : how many were analysed; differences : changed numbers, largest relative change first
    slight : further numbers, which change by no more than another processor's arithmetic might (`SAME_WITHIN`)
    new_of_loggers : trials with a logger, whose noise no re-analysis has learned from yet
    worked : the new results; tasks : what each trial was analysed by, to detect changes made meanwhile
    """

    trials: int
    method_version: str
    differences: tuple[Difference, ...]
    slight: int
    new_of_loggers: int
    worked: tuple[WorkedTrial, ...]
    tasks: tuple[TrialTask, ...]


def plan_recompute(
    engine: Engine,
    on_progress: OnProgress | None = None,
    *,
    workers: int | None = None,
    trial_ids: Sequence[int] | None = None,
    noise_by_trial: NoiseByTrial | None = None,
) -> RecomputePlan:
    """Analyses all trials again, or some, and lists what would change. Nothing is stored.

    workers : processes; None: one per core. Each opens its own read-only connection.
    noise_by_trial : what was known of the logger's noise when each result was made; None: learned from all trials
    """
    progress = on_progress or no_progress
    with session_scope(engine, writes=False) as session:
        tasks = tuple(_tasks(session, trial_ids))
    processes = workers or os.cpu_count() or 1
    noise = _learned(engine, tasks, processes, progress) if noise_by_trial is None else noise_by_trial
    worked: list[WorkedTrial] = []
    with_noise = [replace(task, of_logger=noise.get(task.trial_id, {})) for task in tasks]
    for trial in _worked(engine, with_noise, processes):
        worked.append(trial)
        progress(len(worked), len(tasks), "Re-analysing trials")
    worked.sort(key=lambda trial: trial.trial_id)
    changes = _dry_run(engine, worked)
    differences = tuple(one for one in changes if not is_same(one.before, one.after, SAME_WITHIN, one.size))
    slight = len(changes) - len(differences)
    new_of_loggers = _new_of_loggers(engine, tasks)
    return RecomputePlan(len(tasks), METHOD_VERSION, differences, slight, new_of_loggers, tuple(worked), tasks)


def accept_recompute(
    session: Session, plan: RecomputePlan, *, who: str = AT_THE_DESK, why: str = "", now: datetime | None = None
) -> int:
    """Stores a planned re-analysis, records each number that changes (`differences`), and returns their count.

    Raises InvalidValue if a trial was added, changed or deleted since the plan was made.
    """
    at = now or datetime.now(UTC)
    ids = [task.trial_id for task in plan.tasks]
    if list(_tasks(session, ids)) != list(plan.tasks):
        raise InvalidValue(
            "A trial has changed since the re-analysis, so its list of differences is out of date. Run it again."
        )
    reason = why or f"re-analysed with method {plan.method_version}"
    _store(session, plan.worked, at)
    update_all_derived_results(session, who=who, why=reason, now=at, record=False)
    if plan.differences:
        session.execute(
            insert(Change),
            [
                {
                    "at": at,
                    "who": acting_name(session, who),
                    "action": "recomputed",
                    "subject": "trial",
                    "subject_id": difference.trial_id,
                    "field": f"{difference.channel} {difference.field}",
                    "before": _as_text(difference.before),
                    "after": _as_text(difference.after),
                    "why": reason,
                }
                for difference in plan.differences
            ],
        )
    return len(plan.differences)


def _tasks(session: Session, trial_ids: Sequence[int] | None) -> Iterator[TrialTask]:
    bench = session.get_one(Bench, 1)
    query = (
        select(Trial, Logger)
        .outerjoin(Logger, Logger.id == Trial.logger_id)
        .where(Trial.trashed_at.is_(None))
        .order_by(Trial.id)
    )
    wanted = None if trial_ids is None else set(trial_ids)
    known = lines_by_day(session)
    for trial, logger in session.execute(query):
        if wanted is None or trial.id in wanted:
            yield TrialTask(
                trial_id=trial.id,
                log_id=trial.log_id,
                kind=trial.kind,
                marks=stored_marks(trial),
                clear_level_kind=trial.clear_level_kind or bench.clear_level_kind,
                clear_level_value=bench.clear_level_value
                if trial.clear_level_value is None
                else trial.clear_level_value,
                saturation_level_ug_m3=logger.saturation_level_ug_m3 if logger else None,
                response_time_s=logger.response_time_s if logger else None,
                timing=timing_of(logger),
                logger_id=trial.logger_id,
                excluded=trial.excluded_at is not None,
                lines=known.of(trial.logger_id, trial.started_at),
            )


def _learned(engine: Engine, chosen: Sequence[TrialTask], workers: int, progress: OnProgress) -> NoiseByTrial:
    """The noise of loggers from all their trials. Those whose results are of another version are analysed for it."""
    with session_scope(engine, writes=False) as session:
        versions = session.execute(select(ChannelResult.trial_id, ChannelResult.method_version).distinct()).all()
        settled = {trial_id for trial_id, _ in versions}
        settled -= {trial_id for trial_id, version in versions if version != METHOD_VERSION}
        tasks = [task for task in _tasks(session, None) if task.logger_id is not None and not task.excluded]
        older = {task.trial_id: task for task in tasks if task.trial_id not in settled}
        evidence = bench_evidence(session, without=older)
    for done, trial in enumerate(_worked(engine, list(older.values()), workers), start=1):
        logger_id = older[trial.trial_id].logger_id
        for channel, values in trial.results.items():
            evidence.add(logger_id, channel, trial.trial_id, numbers_of(values["noise_evidence"]))
        progress(done, len(older), "Learning the noise of loggers")
    return {task.trial_id: evidence.of_logger(task.logger_id, task.trial_id) for task in chosen}


def _new_of_loggers(engine: Engine, tasks: Sequence[TrialTask]) -> int:
    with session_scope(engine, writes=False) as session:
        not_learned = ChannelResult.noise_learned == False  # noqa: E712  # a column, not a truth value
        found = set(session.scalars(select(ChannelResult.trial_id).where(not_learned).distinct()))
    return sum(task.logger_id is not None and task.trial_id in found for task in tasks)


def _worked(engine: Engine, tasks: Sequence[TrialTask], workers: int) -> Iterator[WorkedTrial]:
    url = engine.url.render_as_string(hide_password=False)
    work_there = partial(work, url)
    if workers == 1 or len(tasks) < 4 * workers:  # starting processes would take longer
        yield from map(work_there, tasks)
        return
    # "spawn": a forked child would share the parent's connections and locks
    with multiprocessing.get_context("spawn").Pool(workers) as pool:
        yield from pool.imap_unordered(work_there, tasks, chunksize=max(1, min(16, len(tasks) // (8 * workers))))


def _dry_run(engine: Engine, worked: Sequence[WorkedTrial]) -> tuple[Difference, ...]:
    """Stores the results in a transaction that is rolled back, so that the derived numbers can be compared too."""
    with session_scope(engine) as session:
        before = _compared(session)
        with session.begin_nested() as rehearsal:
            _store(session, worked, datetime.now(UTC))
            update_all_derived_results(session, why="", record=False)
            after = _compared(session)
            rehearsal.rollback()
    differences = [
        Difference(*key, name, old, new, _share(old, new), size_of(name, after.get(key, {})))
        for key in before.keys() | after.keys()
        for name in COMPARED
        if not is_same(old := before.get(key, {}).get(name), new := after.get(key, {}).get(name))
    ]
    return tuple(
        sorted(differences, key=lambda d: (-(d.share if d.share is not None else math.inf), d.trial_id, d.channel))
    )


def _compared(session: Session) -> dict[tuple[int, str], dict[str, Any]]:
    session.flush()
    rows = session.execute(
        select(ChannelResult.trial_id, ChannelResult.channel, *(getattr(ChannelResult, name) for name in COMPARED))
    )
    return {(row[0], row[1]): dict(zip(COMPARED, row[2:], strict=True)) for row in rows}


def _store(session: Session, worked: Sequence[WorkedTrial], now: datetime) -> None:
    """Writes results in bulk; an existing channel keeps the id of its row."""
    present = {
        (row.trial_id, row.channel): row.id
        for row in session.execute(select(ChannelResult.trial_id, ChannelResult.channel, ChannelResult.id))
    }
    changed, added = [], []
    for trial in worked:
        for channel, values in trial.results.items():
            row = {**values, "computed_at": now, "noise_learned": True}
            key = (trial.trial_id, channel)
            if key in present:
                changed.append({"id": present[key], **row})
            else:
                added.append({"trial_id": trial.trial_id, "channel": channel, **row})
    analysed = {trial.trial_id: trial.results.keys() for trial in worked}
    gone = [i for (trial_id, channel), i in present.items() if channel not in analysed.get(trial_id, {channel})]
    for part in in_batches(gone):
        session.execute(delete(ChannelResult).where(ChannelResult.id.in_(part)))
    if changed:
        session.execute(update(ChannelResult), changed)
    if added:
        session.execute(insert(ChannelResult), added)
        present |= {
            (row.trial_id, row.channel): row.id
            for row in session.execute(select(ChannelResult.trial_id, ChannelResult.channel, ChannelResult.id))
        }
    _store_notes(session, worked, present)
    session.expire_all()  # after bulk writes, loaded objects are stale


def _store_notes(session: Session, worked: Sequence[WorkedTrial], present: dict[tuple[int, str], int]) -> None:
    results = [present[trial.trial_id, channel] for trial in worked for channel in trial.results]
    for part in in_batches(results):
        session.execute(delete(ResultNote).where(ResultNote.result_id.in_(part)))
    notes = [
        {"result_id": present[trial.trial_id, channel], **note}
        for trial in worked
        for channel, of_channel in trial.notes.items()
        for note in of_channel
    ]
    if notes:
        session.execute(insert(ResultNote), notes)


def _share(before: Any, after: Any) -> float | None:
    if isinstance(before, float) and isinstance(after, float) and before != 0:
        return abs(after - before) / abs(before)
    return None


def _as_text(value: Any) -> str | None:
    if value is None or isinstance(value, bool):
        return None if value is None else ("yes" if value else "no")
    return f"{value:.6g}"
