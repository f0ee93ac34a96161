"""Analyses the readings of a trial and stores the results; a changed number is recorded."""

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from datetime import UTC, datetime
from functools import cache
from typing import Any

from sqlalchemy import Connection, Select, bindparam, delete, select, update
from sqlalchemy.orm import Session

from app.compute.collocation.rate_effect import LoggerLine
from app.compute.decay.result import ChannelDecay, ClearLevel, Marks
from app.compute.method import METHOD_VERSION
from app.compute.signal.logger_timing import NOT_KNOWN, LoggerTiming
from app.errors import NotFound
from app.services.logs.logger_checks.linearity import lines_by_day
from app.services.logs.logger_noise import bench_evidence
from app.services.logs.readings import read_readings
from app.services.logs.trial_fields import TrialMarks
from app.services.logs.trial_kinds import EMPTY_ROOM
from app.services.results.analyse_channels import AnalysedTrial, AnalysisTerms, analyse_readings
from app.services.results.rows import analysis_values, is_same, note_columns
from app.services.results.summary_trials import default_clear_level
from app.services.results.update_derived import update_derived_results
from app.services.store.audit import AT_THE_DESK, record_change
from app.services.store.entry_fields import stored_values
from app.services.store.progress import OnProgress, no_progress
from app.storage.inserts import insert_into
from app.storage.models.loggers import Logger
from app.storage.models.trials import ChannelResult, ResultNote, Trial

# Fields whose changes are recorded one by one; the others follow from them.
RECORDED = ("total_decay_per_h", "time_to_clear_min", "usable")


def get_trial(session: Session, trial_id: int) -> Trial:
    trial = session.get(Trial, trial_id)
    if trial is None:
        raise NotFound("trial", trial_id)
    return trial


def stored_marks(trial: Trial) -> TrialMarks:
    return TrialMarks(**stored_values(TrialMarks, trial))


def analysis_terms(
    session: Session,
    kind: str,
    logger_id: int | None,
    marks: TrialMarks,
    trial_id: int | None = None,
    *,
    started_at: datetime | None,
) -> AnalysisTerms:
    """Settings of a trial's analysis: its marks, the bench's clear level, the logger's properties, its noise, which its
    other trials showed at the last re-analysis of the bench, and the curvature in its last check before the trial."""
    kind_of_level, level = default_clear_level(session)
    logger = session.get(Logger, logger_id) if logger_id is not None else None
    return AnalysisTerms(
        marks=marks_in_hours(marks),
        clear_level=ClearLevel(
            marks.clear_level_kind or kind_of_level,
            level if marks.clear_level_value is None else marks.clear_level_value,
        ),
        saturation_level_ug_m3=logger.saturation_level_ug_m3 if logger else None,
        response_time_s=logger.response_time_s if logger else None,
        timing=timing_of(logger),
        empty_room=kind == EMPTY_ROOM,
        of_logger=bench_evidence(session, [logger.id], learned=True).of_logger(logger.id, trial_id) if logger else {},
        lines=lines_by_day(session, [logger.id]).of(logger.id, started_at) if logger else {},
    )


def timing_of(logger: Logger | None) -> LoggerTiming:
    if logger is None:
        return NOT_KNOWN
    return LoggerTiming(logger.averaging_s, logger.time_stamp, logger.on_before_min)


def marks_in_hours(marks: TrialMarks) -> Marks:
    def hours(seconds: float | None) -> float | None:
        return None if seconds is None else seconds / 3600

    return Marks(
        smoke_start_h=hours(marks.smoke_start_s),
        smoke_end_h=hours(marks.smoke_end_s),
        unit_on_h=hours(marks.unit_on_s),
        fit_start_h=hours(marks.fit_start_s),
        fit_end_h=hours(marks.fit_end_s),
        end_h=hours(marks.end_s),
        background_level=marks.background_ug_m3,
    )


def analyse_stored_trial(session: Session, trial: Trial, marks: TrialMarks | None = None) -> AnalysedTrial:
    """Analysis of a stored trial with its own or other marks; nothing is stored."""
    told = marks or stored_marks(trial)
    terms = analysis_terms(session, trial.kind, trial.logger_id, told, trial.id, started_at=trial.started_at)
    return analyse_readings(read_readings(session, trial.log_id), terms)


def write_results(
    session: Session, trial_id: int, analysed: AnalysedTrial, now: datetime, *, new: bool = False
) -> None:
    """Stores the results of a trial, replacing earlier ones; an existing channel keeps the id of its row.

    new : the trial was just added, so there is nothing to replace
    """
    session.flush()
    connection = session.connection()  # plain statements are faster than ORM objects
    present = {} if new else _ids_of_channels(connection, trial_id)
    gone = [i for channel, i in present.items() if channel not in analysed.decays]
    if gone:
        connection.execute(
            delete(ChannelResult).where(ChannelResult.id.in_(gone))
        )  # their notes are deleted by the database
    if present:
        connection.execute(delete(ResultNote).where(ResultNote.result_id.in_(list(present.values()))))
    added: list[dict[str, Any]] = []
    for channel, decay in analysed.decays.items():
        values = result_values(decay, analysed.relative_humidity_pct, now)
        if channel in present:
            connection.execute(update(ChannelResult).where(ChannelResult.id == present[channel]), values)
        else:
            added.append({"trial_id": trial_id, "channel": channel, **values})
    if added:
        connection.execute(insert_into(ChannelResult), added)
        present = _ids_of_channels(connection, trial_id)
    notes = [
        {"result_id": present[channel], **columns}
        for channel, decay in analysed.decays.items()
        for columns in note_columns(decay.notes)
    ]
    if notes:
        connection.execute(insert_into(ResultNote), notes)
    if not new:
        session.expire_all()  # loaded objects are stale


def _ids_of_channels(connection: Connection, trial_id: int) -> dict[str, int]:
    """Channel to id of its result."""
    return dict(connection.execute(_ids_query(), {"trial": trial_id}).all())


@cache
def _ids_query() -> Select[str, int]:
    """Cached: building the statement takes longer than running it."""
    return select(ChannelResult.channel, ChannelResult.id).where(ChannelResult.trial_id == bindparam("trial"))


def result_values(decay: ChannelDecay, relative_humidity_pct: float | None, now: datetime) -> dict[str, Any]:
    return {
        **analysis_values(decay),
        "unit": decay.unit,
        "method_version": METHOD_VERSION,
        "computed_at": now,
        "usable": decay.usable,
        "noise_learned": False,
        "relative_humidity_pct": relative_humidity_pct,
    }


def reanalyse_trials(
    session: Session,
    trial_ids: Sequence[int],
    *,
    who: str = AT_THE_DESK,
    why: str,
    now: datetime | None = None,
    on_progress: OnProgress = no_progress,
) -> None:
    """Analyses trials again, records every changed number, and updates all derived results."""
    at = now or datetime.now(UTC)
    for done, trial_id in enumerate(trial_ids):
        on_progress(done, len(trial_ids), "trials re-analysed")
        trial = get_trial(session, trial_id)
        before = _recorded_values(session, trial_id)
        write_results(session, trial_id, analyse_stored_trial(session, trial), at)
        after = _recorded_values(session, trial_id)
        for key in sorted(before.keys() | after.keys()):
            if not is_same(before.get(key), after.get(key)):
                record_change(
                    session, who, "recomputed", "trial", trial_id, " ".join(key), before.get(key), after.get(key), why
                )
    on_progress(len(trial_ids), len(trial_ids), "trials re-analysed; updating derived results")
    update_derived_results(session, trial_ids, who=who, why=why, now=at)


def reanalyse_logger(
    session: Session, logger_id: int, *, who: str, why: str, on_progress: OnProgress = no_progress
) -> None:
    """Analyses the trials of a logger again, after its properties changed."""
    trials = session.scalars(select(Trial.id).where(Trial.logger_id == logger_id, Trial.trashed_at.is_(None))).all()
    reanalyse_trials(session, trials, who=who, why=why, on_progress=on_progress)


@contextmanager
def checks_change(session: Session, *, who: str, why: str) -> Iterator[None]:
    """Around a change of the checks of loggers: trials whose logger is known differently are analysed again."""
    before = _lines_of_trials(session)
    yield
    session.flush()
    after = _lines_of_trials(session)
    changed = sorted(trial for trial in before.keys() | after.keys() if before.get(trial) != after.get(trial))
    if changed:
        reanalyse_trials(session, changed, who=who, why=why)


def _lines_of_trials(session: Session) -> dict[int, dict[str, LoggerLine]]:
    """Of each trial whose logger shows a curvature."""
    known = lines_by_day(session)
    query = select(Trial.id, Trial.logger_id, Trial.started_at).where(
        Trial.logger_id.in_(known.loggers), Trial.trashed_at.is_(None)
    )
    lines = ((trial_id, known.of(logger_id, started)) for trial_id, logger_id, started in session.execute(query))
    return {trial_id: of_trial for trial_id, of_trial in lines if of_trial}


def _recorded_values(session: Session, trial_id: int) -> dict[tuple[str, str], object]:
    rows = session.execute(
        select(ChannelResult.channel, *(getattr(ChannelResult, name) for name in RECORDED)).where(
            ChannelResult.trial_id == trial_id
        )
    ).all()
    return {(row[0], name): value for row in rows for name, value in zip(RECORDED, row[1:], strict=True)}
