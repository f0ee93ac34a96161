"""Adds a trial: raw file, readings, analysis and derived results, in one transaction."""

from collections.abc import Callable
from dataclasses import asdict, replace
from datetime import UTC, datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.errors import AlreadyStored
from app.reading_files.log_table import LogTable, ReadingChoices
from app.reading_files.read_log import read_log
from app.services.logs.readings import LogReadings
from app.services.logs.store import has_raw_file, store_log
from app.services.logs.trial_fields import CONDITIONS, MARK_NAMES, NewTrial, check_marks, checked_trial
from app.services.logs.trial_kinds import EMPTY_ROOM
from app.services.results.analyse_channels import AnalysedTrial, AnalysisTerms, analyse_readings
from app.services.results.trial_results import analysis_terms, write_results
from app.services.results.update_derived import update_derived_results
from app.services.store.audit import record_change
from app.storage.inserts import insert_into
from app.storage.models.logs import Log
from app.storage.models.trials import Trial


def add_trial(
    session: Session,
    content: bytes,
    file_name: str,
    new_trial: NewTrial,
    choices: ReadingChoices | None = None,
    now: datetime | None = None,
    *,
    settle: bool = True,
) -> int:
    """Adds a trial from the bytes of its log and returns its id.

    choices : what a person or a logger profile decided about the file
    settle : False where many trials are added at once; call `update_derived_results` for all of them in the same
        transaction

    Raises UnreadableLog for a file that is not a log, InvalidValue or NotFound for what does not fit the bench,
    AlreadyStored for the same file with the same unit, setting, room and marks.
    """
    chosen = choices or ReadingChoices()
    # before the first statement: reading a file takes longer than the rest, and would block other writers
    table = read_log(content, file_name, chosen)
    return add_read_trial(session, content, table, new_trial, chosen, now, settle=settle)


def add_read_trial(
    session: Session,
    content: bytes,
    table: LogTable,
    new_trial: NewTrial,
    choices: ReadingChoices,
    now: datetime | None = None,
    *,
    settle: bool = True,
    analyse: Callable[[LogReadings, AnalysisTerms], AnalysedTrial] = analyse_readings,
) -> int:
    """Adds a trial from a log that has been read already.

    analyse : a function that returns the analysis, if a preview made one
    """
    at = now or datetime.now(UTC)
    table = _with_assumed_zone(table)
    new = checked_trial(session, new_trial)
    check_marks(new.marks, float(table.elapsed_s[-1]))
    seen = has_raw_file(session, table.sha256)
    if seen:  # new bytes cannot belong to another trial
        _refuse_second(session, table, new)
    log_id = store_log(session, content, table, choices, at, new.profile_id, seen=seen)
    entered = {name: getattr(new, name) for name in CONDITIONS} | asdict(new.marks)
    started_at = start_of(table, new.started_at, at)
    row = entered | {"log_id": log_id, "started_at": started_at, "created_at": at}
    # a plain statement takes half the time of an object
    trial_id = int(session.connection().execute(insert_into(Trial, "id"), row).scalar_one())
    terms = analysis_terms(session, new.kind, new.logger_id, new.marks, started_at=started_at)
    readings = LogReadings(table.elapsed_s, table.levels, table.units)
    write_results(session, trial_id, analyse(readings, terms), at, new=True)
    record_change(session, new.tested_by, "added", "trial", trial_id, after=table.file_name, at=at)
    if settle:
        what = "an empty-room run was added" if new.kind == EMPTY_ROOM else "a trial was added"
        update_derived_results(
            session, [trial_id], who=new.tested_by, why=f"{what} (trial {trial_id})", now=at, new_trials=[trial_id]
        )
    return trial_id


def _with_assumed_zone(table: LogTable) -> LogTable:
    """The log with a note that its time zone was assumed, where it was, so that it is not taken for a known one."""
    if not table.zone_assumed:
        return table
    note = (
        f"The file has local times without a time zone. They were assumed to be in {table.timezone}, the bench time "
        "zone; nobody has confirmed this."
    )
    return replace(table, notes=(*table.notes, note))


def start_of(table: LogTable, given: datetime | None, at: datetime) -> datetime:
    """The log's start time or, if its clock is not trusted, the given time, or else the time of adding."""
    return table.started_at if table.clock_is_known else given or at


def _refuse_second(session: Session, table: LogTable, new: NewTrial) -> None:
    marks = new.marks
    same = session.scalars(
        select(Trial)
        .join(Log, Log.id == Trial.log_id)
        .where(
            Log.sha256 == table.sha256,
            Log.box == (table.box or ""),
            Trial.kind == new.kind,
            Trial.room_id == new.room_id,
            Trial.unit_under_test_id.is_not_distinct_from(new.unit_under_test_id),
            Trial.setting_id.is_not_distinct_from(new.setting_id),
        )
    ).all()
    for trial in same:
        if all(getattr(trial, name) == getattr(marks, name) for name in MARK_NAMES):
            where = "is in the trash; restore it from there" if trial.trashed_at else "already exists"
            raise AlreadyStored(
                f"{table.file_name} with the same unit, setting, room and marks is trial {trial.id}, which {where}. "
                "Open that trial, or set different marks if this is another run in the same file.",
                field="log",
            )
