"""Changing the marks of a trial, with a preview of the changes; excluding a trial from results, and including it
again.
"""

from dataclasses import dataclass, fields
from datetime import UTC, datetime
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.compute.decay.result import ChannelDecay
from app.compute.wording.notes import Note
from app.errors import InvalidValue
from app.services.logs.trial_fields import TrialMarks, check_marks
from app.services.results.clean_air import derive_unsaved
from app.services.results.rows import analysis_values
from app.services.results.trial_results import analyse_stored_trial, get_trial, reanalyse_trials
from app.services.results.update_derived import update_derived_results
from app.services.store.audit import AT_THE_DESK, acting_name, record_change
from app.services.store.checked_values import required_text
from app.storage.models.logs import Log
from app.storage.models.logs import readings as readings_table
from app.storage.models.trials import ChannelResult, Trial

# What a preview compares: field, unit, and column of the uncertainty.
COMPARED = (
    ("total_decay_per_h", "1/h", "total_decay_uncertainty_per_h"),
    ("clean_air_delivery_rate_m3_per_h", "m³/h", "clean_air_delivery_rate_uncertainty"),
    ("standard_clearing_time_min", "min", "standard_clearing_time_uncertainty_min"),
    ("time_to_clear_min", "min", "time_to_clear_uncertainty_min"),
    ("not_cleared_before_min", "min", None),
    ("fit_window_start_min", "min", None),
    ("fit_window_end_min", "min", None),
)


@dataclass(frozen=True, slots=True)
class Move:
    """One number of one channel before and after; None if it does not exist."""

    channel: str
    field: str
    unit: str
    before: float | None
    after: float | None
    before_uncertainty: float | None
    after_uncertainty: float | None

    @property
    def moves(self) -> bool:
        return self.before != self.after


@dataclass(frozen=True, slots=True)
class MarksPreview:
    """Effect of a change of marks on a trial. Nothing is stored.

    decays : the analysis with the new marks; notes : including those of the natural decay
    moves : numbers before and after, including unchanged ones
    """

    trial_id: int
    marks: TrialMarks
    decays: dict[str, ChannelDecay]
    notes: dict[str, tuple[Note, ...]]
    moves: tuple[Move, ...]


def preview_marks(session: Session, trial_id: int, marks: TrialMarks) -> MarksPreview:
    """Analyses a trial with other marks; raises InvalidValue for marks that do not fit its log."""
    trial = get_trial(session, trial_id)
    check_marks(marks, last_reading_s(session, trial))
    analysed = analyse_stored_trial(session, trial, marks)
    place = trial.room_id, trial.smoke_source_id
    derived = derive_unsaved(session, analysed, trial.kind, place, trial.started_at)
    stored = {
        row.channel: row for row in session.scalars(select(ChannelResult).where(ChannelResult.trial_id == trial_id))
    }
    moves: list[Move] = []
    notes: dict[str, tuple[Note, ...]] = {}
    for channel, decay in analysed.decays.items():
        values, further = derived[channel]
        notes[channel] = (*decay.notes, *further)
        moves += _moves(channel, stored.get(channel), analysis_values(decay) | values)
    return MarksPreview(trial_id, marks, analysed.decays, notes, tuple(moves))


def change_marks(
    session: Session,
    trial_id: int,
    marks: TrialMarks,
    *,
    who: str = AT_THE_DESK,
    why: str = "",
    now: datetime | None = None,
) -> Trial:
    """Sets the marks of a trial and updates its results; each mark and each changed number is recorded."""
    trial = get_trial(session, trial_id)
    check_marks(marks, last_reading_s(session, trial))
    moved = False
    for field in fields(marks):
        before, after = getattr(trial, field.name), getattr(marks, field.name)
        if before != after:
            setattr(trial, field.name, after)
            record_change(session, who, "changed", "trial", trial_id, field.name, before, after, why, at=now)
            moved = True
    if moved:
        session.flush()
        reanalyse_trials(session, [trial_id], who=who, why=why or "the marks were changed", now=now)
    return trial


def exclude_trial(session: Session, trial_id: int, *, who: str, why: str, now: datetime | None = None) -> Trial:
    """Excludes a trial from results. It stays listed, with who, when and why; a reason is required."""
    trial = get_trial(session, trial_id)
    reason = required_text(why, "why", "The reason for excluding the trial", 2000)
    if trial.excluded_at is not None:
        raise InvalidValue(
            f"Trial {trial_id} is already excluded by {trial.excluded_by}: {trial.excluded_why.rstrip('.')}. Include "
            "it again first to give another reason.",
            field="why",
        )
    at = now or datetime.now(UTC)
    trial.excluded_at, trial.excluded_by, trial.excluded_why = at, acting_name(session, who), reason
    record_change(session, who, "excluded", "trial", trial_id, why=reason, at=at)
    update_derived_results(session, [trial_id], who=who, why=f"trial {trial_id} was excluded: {reason}", now=at)
    return trial


def restore_trial(
    session: Session, trial_id: int, *, who: str = AT_THE_DESK, why: str = "", now: datetime | None = None
) -> Trial:
    """Includes an excluded trial again."""
    trial = get_trial(session, trial_id)
    if trial.excluded_at is None:
        raise InvalidValue(f"Trial {trial_id} is not excluded.", field="why")
    before = trial.excluded_why
    trial.excluded_at, trial.excluded_by, trial.excluded_why = None, "", ""
    record_change(session, who, "restored", "trial", trial_id, "excluded_why", before, None, why, at=now)
    update_derived_results(session, [trial_id], who=who, why=f"trial {trial_id} was included again", now=now)
    return trial


def last_reading_s(session: Session, trial: Trial) -> float:
    """Time of the last reading of a trial's log [s]."""
    return float(
        session.scalar(
            select(readings_table.c.elapsed_s)
            .join(Log, readings_table.c.id == Log.first_reading + Log.readings - 1)
            .where(Log.id == trial.log_id)
        )
        or 0.0
    )


def _moves(channel: str, stored: ChannelResult | None, after: dict[str, Any]) -> list[Move]:
    return [
        Move(
            channel,
            name,
            unit,
            getattr(stored, name, None),
            after[name],
            getattr(stored, uncertainty, None) if uncertainty else None,
            after[uncertainty] if uncertainty else None,
        )
        for name, unit, uncertainty in COMPARED
    ]
