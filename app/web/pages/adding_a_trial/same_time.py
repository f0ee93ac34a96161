"""Notes on runs that were logged in one room at the same time."""

from collections.abc import Sequence
from datetime import timedelta
from typing import TYPE_CHECKING

from sqlalchemy.orm import Session

from app.services.adding_trials.staged_uploads import StagedUpload
from app.services.trials.same_time import RunTime, trials_at_that_time
from app.web.forms.typed_form import TypedForm
from app.web.pages.adding_a_trial.fields import zone_of

if TYPE_CHECKING:
    from app.reading_files.log_table import LogTable

ADVICE = (
    "Two units in one room clean the same air, so neither rate would be its own. Save both only if a second logger "
    "followed the same run."
)


def run_time(upload: StagedUpload, table: "LogTable | None", form: TypedForm) -> RunTime | None:
    """When and in which room of the bench a staged file was logged; None if either is not known."""
    room = form.text("room_id")
    if table is None or not table.clock_is_known or not (room.isdecimal() and len(room) < 10):
        return None
    ends = table.started_at + timedelta(seconds=float(table.elapsed_s[-1]))
    return RunTime(upload.file_name, int(room), table.started_at, ends)


def runs_at_that_time(
    session: Session, upload: StagedUpload, table: "LogTable | None", form: TypedForm
) -> Sequence[str]:
    """A sentence for each stored trial in the room at the time of a staged file."""
    run = run_time(upload, table, form)
    if run is None or table is None:
        return ()
    zone = zone_of(table.timezone)
    return [
        f"{other.name} was logged in this room from {other.begins.astimezone(zone):%H:%M} to "
        f"{other.ends.astimezone(zone):%H:%M}, while this file was."
        for other in trials_at_that_time(session, run, upload.sha256)
    ]


def files_at_that_time(run: RunTime | None, runs: Sequence[RunTime | None]) -> Sequence[str]:
    """A sentence for each other file of a batch that meets this one."""
    if run is None:
        return ()
    return [
        f"{other.name} was logged in this room at the same time."
        for other in runs
        if other is not None and other is not run and run.meets(other)
    ]
