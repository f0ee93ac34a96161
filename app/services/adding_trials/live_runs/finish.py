"""Finishes a live run: its log is read, analysed and stored as an uploaded one would be."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import Any

from sqlalchemy.orm import Session

from app.errors import InvalidValue
from app.reading_files.log_table import LogTable, ReadingChoices
from app.services.adding_trials.live_runs.events import event_marks, events_of
from app.services.adding_trials.live_runs.recorded import file_name_of_run, log_of_run, read_run
from app.services.adding_trials.live_runs.run import FILE, SUBJECT, conditions_of, get_run, open_run
from app.services.logs.trial_fields import MARK_NAMES, TrialMarks
from app.services.store.audit import record_change


@dataclass(frozen=True, slots=True)
class RunFile:
    """The file that a live run followed, as read with some choices."""

    content: bytes
    table: LogTable
    choices: ReadingChoices


@dataclass(frozen=True, slots=True)
class FinishedRun:
    """Id of the trial; `new` is False if the run was finished before."""

    trial_id: int
    new: bool


def finish_run(
    session: Session,
    run_id: int,
    *,
    file: RunFile | None = None,
    changed: Mapping[str, Any] | None = None,
    marks: TrialMarks | None = None,
    now: datetime | None = None,
) -> FinishedRun:
    """Makes the run a trial, with marks from its events, by the way of an uploaded file.

    file : the followed file; None stores the readings received, written as a log
    changed : conditions that replace those of the run, such as a unit chosen at the end
    marks : marks that replace those of the events

    A run that was closed for silence can still be finished. Raises what `add_trial` raises; the run is unchanged then.
    """
    from app.reading_files.read_log import read_log  # loaded when used: it needs pandas
    from app.services.adding_trials.add import add_read_trial

    at = now or datetime.now(UTC)
    run = get_run(session, run_id)
    if run.trial_id is not None:
        return FinishedRun(run.trial_id, new=False)
    readings = read_run(session, run_id)
    if file is None and not readings.at_us.size:
        raise InvalidValue(f"Live run {run_id} has no readings, so it cannot become a trial. Send readings first.")
    if file is None:
        content = log_of_run(readings)
        file = RunFile(content, read_log(content, file_name_of_run(run_id, run.started_at)), ReadingChoices())
    first_at = file.table.started_at if file.table.clock_is_known or not readings.at_us.size else readings.time(0)
    found = event_marks(run, events_of(session, run_id), first_at, float(file.table.elapsed_s[-1]))
    new = replace(conditions_of(run, _marks(found, marks)), **(changed or {}), started_at=first_at)
    trial_id = add_read_trial(session, file.content, file.table, new, file.choices, at)
    run.finished_at, run.trial_id = at, trial_id
    run.changes += 1
    session.flush()
    record_change(session, run.tested_by, "changed", SUBJECT, run_id, "trial_id", None, trial_id, at=at)
    return FinishedRun(trial_id, new=True)


def request_file(session: Session, run_id: int, *, now: datetime | None = None) -> bool:
    """Asks the watch command that follows a file to send it and finish the run. False if the run follows none."""
    at = now or datetime.now(UTC)
    run = open_run(session, run_id, at)
    if run.source != FILE:
        return False
    if run.file_requested_at is None:
        run.file_requested_at = at
        run.changes += 1
        record_change(session, run.tested_by, "changed", SUBJECT, run_id, "file_requested_at", None, at, at=at)
    return True


def _marks(found: TrialMarks, given: TrialMarks | None) -> TrialMarks:
    """The given marks, and those of the events where none is given."""
    if given is None:
        return found
    return replace(given, **{name: getattr(found, name) for name in MARK_NAMES if getattr(given, name) is None})
