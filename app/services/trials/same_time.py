"""Trials that were logged in one room at the same time."""

from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlalchemy import select
from sqlalchemy.orm import Session, selectinload

from app.storage.models.logs import Log
from app.storage.models.trials import Trial

LONGEST_LOG = timedelta(days=60)  # logs of more readings than eight weeks of seconds are not read


@dataclass(frozen=True, slots=True)
class RunTime:
    """A run and its time in a room; `trial_id` is None for a file that is not stored."""

    name: str
    room_id: int
    begins: datetime
    ends: datetime
    trial_id: int | None = None

    def meets(self, other: "RunTime") -> bool:
        """Whether both were logged in the same room at some moment."""
        return self.room_id == other.room_id and self.begins < other.ends and other.begins < self.ends


def trials_at_that_time(session: Session, run: RunTime, sha256: str) -> tuple[RunTime, ...]:
    """Stored trials that meet a run, outside the trash, oldest first; not those of its own file."""
    asked = (
        select(Trial)
        .join(Log, Log.id == Trial.log_id)
        .where(
            Trial.room_id == run.room_id,
            Trial.trashed_at.is_(None),
            Trial.started_at < run.ends,
            Trial.started_at > run.begins - LONGEST_LOG,
            Log.sha256 != sha256,
        )
        .options(selectinload(Trial.log), selectinload(Trial.unit_under_test), selectinload(Trial.setting))
        .order_by(Trial.id)
    )
    found = [_run_time(trial) for trial in session.scalars(asked)]
    return tuple(other for other in found if other.meets(run))


def _run_time(trial: Trial) -> RunTime:
    unit, setting = trial.unit_under_test, trial.setting
    words = f"{unit.maker} {unit.model}" + (f" at “{setting.name}”" if setting else "") if unit else "empty room"
    length = timedelta(seconds=max(trial.log.readings - 1, 0) * trial.log.interval_s)
    return RunTime(f"trial {trial.id} ({words})", trial.room_id, trial.started_at, trial.started_at + length, trial.id)
