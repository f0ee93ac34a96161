"""The trash: deleted trials and units can be restored; nothing is removed for good, and no log file is lost.

There is no permanent removal, neither here nor by a command: measurements and raw files are evidence.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from app.errors import InvalidValue
from app.services.store.audit import AT_THE_DESK, record_change
from app.services.store.checked_values import LONGEST_TEXT, optional_text, required_text
from app.services.units.entry import SUBJECT, get_unit
from app.storage.models.bench import Change
from app.storage.models.rooms import Room
from app.storage.models.trials import Trial
from app.storage.models.units_under_test import SpeedSetting, UnitUnderTest


def trash_unit(
    session: Session, unit_id: int, *, who: str = AT_THE_DESK, why: str, now: datetime | None = None
) -> UnitUnderTest:
    """Moves a unit to the trash; its trials stay with it. Raises InvalidValue without a reason."""
    reason = _reason(why, "the unit")
    unit = get_unit(session, unit_id)
    _refuse_if(unit.trashed_at is not None, f"{unit.maker} {unit.model} is already in the trash.")
    unit.trashed_at = now or datetime.now(UTC)
    record_change(session, who, "trashed", SUBJECT, unit_id, why=reason, at=now)
    _update_results_of(session, unit_id, who, reason, now)
    return unit


def untrash_unit(
    session: Session, unit_id: int, *, who: str = AT_THE_DESK, why: str = "", now: datetime | None = None
) -> UnitUnderTest:
    """Restores a unit from the trash, with all its data."""
    reason = optional_text(why, "why", "The reason")
    unit = get_unit(session, unit_id)
    _refuse_if(unit.trashed_at is None, f"{unit.maker} {unit.model} is not in the trash.")
    unit.trashed_at = None
    record_change(session, who, "untrashed", SUBJECT, unit_id, why=reason, at=now)
    _update_results_of(session, unit_id, who, reason, now)
    return unit


def trash_trial(
    session: Session, trial_id: int, *, who: str = AT_THE_DESK, why: str, now: datetime | None = None
) -> Trial:
    """Moves a trial to the trash; derived results are updated, each change recorded.

    Its results, readings and raw file stay. Raises InvalidValue without a reason.
    """
    from app.services.results.trial_results import get_trial
    from app.services.results.update_derived import update_derived_results  # loaded when used: it needs scipy

    reason = _reason(why, "the trial")
    trial = get_trial(session, trial_id)
    _refuse_if(trial.trashed_at is not None, f"Trial {trial_id} is already in the trash.")
    trial.trashed_at = now or datetime.now(UTC)
    record_change(session, who, "trashed", "trial", trial_id, why=reason, at=now)
    update_derived_results(
        session, [trial_id], who=who, why=f"trial {trial_id} was moved to the trash: {reason}", now=now
    )
    return trial


def untrash_trial(
    session: Session, trial_id: int, *, who: str = AT_THE_DESK, why: str = "", now: datetime | None = None
) -> Trial:
    """Restores a trial with its results; derived results are updated."""
    from app.services.results.trial_results import get_trial
    from app.services.results.update_derived import update_derived_results  # loaded when used: it needs scipy

    reason = optional_text(why, "why", "The reason")
    trial = get_trial(session, trial_id)
    _refuse_if(trial.trashed_at is None, f"Trial {trial_id} is not in the trash.")
    trial.trashed_at = None
    record_change(session, who, "untrashed", "trial", trial_id, why=reason, at=now)
    update_derived_results(session, [trial_id], who=who, why=f"trial {trial_id} was restored from the trash", now=now)
    return trial


def _update_results_of(session: Session, unit_id: int, who: str, why: str, now: datetime | None) -> None:
    """A unit's repeats count towards the bench's repeatability, and a check unit's runs for its rooms, while it is not
    in the trash.
    """
    from app.services.results.control_charts.check_unit_spread import rooms_checked_by_unit
    from app.services.results.summaries import refresh_summaries  # loaded when used: it needs scipy
    from app.services.results.update_derived import rederive_room

    settings = session.scalars(select(SpeedSetting.id).where(SpeedSetting.unit_under_test_id == unit_id)).all()
    refresh_summaries(session, settings, now or datetime.now(UTC))
    for room_id in rooms_checked_by_unit(session, unit_id):
        rederive_room(session, room_id, who=who, why=why or "the check unit of the room was restored")


def _reason(why: str, of_what: str) -> str:
    return required_text(why, "why", f"The reason for deleting {of_what}", LONGEST_TEXT)


def _refuse_if(wrong: bool, message: str) -> None:
    if wrong:
        raise InvalidValue(f"{message} Nothing was changed.")


TRIAL = "trial"


@dataclass(frozen=True, slots=True)
class TrashedBy:
    """Who put an item in the trash, and why."""

    who: str
    why: str


@dataclass(frozen=True, slots=True)
class TrashedItem:
    """One item in the trash. `subject` is as in the record of changes: trial, or unit under test."""

    subject: str
    id: int
    name: str
    trashed_at: datetime
    who: str
    why: str


@dataclass(frozen=True, slots=True)
class TrashList:
    """A page of the trash; `total` counts all items."""

    things: tuple[TrashedItem, ...]
    total: int


def list_trash(session: Session, limit: int = 100, offset: int = 0) -> TrashList:
    """Contents of the trash, latest first."""
    lying = [
        (at, subject, number)
        for subject, table in ((SUBJECT, UnitUnderTest), (TRIAL, Trial))
        for number, at in session.execute(select(table.id, table.trashed_at).where(table.trashed_at.is_not(None)))
        if at is not None
    ]
    lying.sort(key=lambda row: (row[0], row[1], row[2]), reverse=True)
    shown = lying[offset : offset + limit]
    trials = [number for _, subject, number in shown if subject == TRIAL]
    units = [number for _, subject, number in shown if subject == SUBJECT]
    names = _trial_names(session, trials) | _unit_names(session, units)
    deletions = {(TRIAL, key): by for key, by in trashed_by(session, TRIAL, trials).items()}
    deletions |= {(SUBJECT, key): by for key, by in trashed_by(session, SUBJECT, units).items()}
    nobody = TrashedBy("", "")
    return TrashList(
        tuple(
            TrashedItem(
                subject,
                number,
                names[subject, number],
                at,
                deletions.get((subject, number), nobody).who,
                deletions.get((subject, number), nobody).why,
            )
            for at, subject, number in shown
        ),
        len(lying),
    )


def trashed_by(session: Session, subject: str, ids: Iterable[int]) -> dict[int, TrashedBy]:
    """For each item, who put it in the trash last, and why, from the record of changes."""
    newest = (
        select(func.max(Change.id))
        .where(Change.subject == subject, Change.subject_id.in_(list(ids)), Change.action == "trashed")
        .group_by(Change.subject_id)
    )
    return {
        change.subject_id: TrashedBy(change.who, change.why)
        for change in session.scalars(select(Change).where(Change.id.in_(newest)))
    }


def _trial_names(session: Session, ids: list[int]) -> dict[tuple[str, int], str]:
    rows = session.execute(
        select(Trial.id, Trial.started_at, Room.name, UnitUnderTest.maker, UnitUnderTest.model, SpeedSetting.name)
        .join(Room, Room.id == Trial.room_id)
        .outerjoin(UnitUnderTest, UnitUnderTest.id == Trial.unit_under_test_id)
        .outerjoin(SpeedSetting, SpeedSetting.id == Trial.setting_id)
        .where(Trial.id.in_(ids))
    )
    names = {}
    for number, started_at, room, maker, model, setting in rows:
        what = f"empty room {room}" if maker is None else f"{maker} {model}, {setting}"
        names[TRIAL, number] = f"Trial {number} of {started_at:%Y-%m-%d}: {what}"
    return names


def _unit_names(session: Session, ids: list[int]) -> dict[tuple[str, int], str]:
    rows = session.execute(
        select(UnitUnderTest.id, UnitUnderTest.maker, UnitUnderTest.model).where(UnitUnderTest.id.in_(ids))
    )
    return {(SUBJECT, number): f"{maker} {model}" for number, maker, model in rows}
