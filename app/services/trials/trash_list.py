"""Contents of the trash: trials and units, with who deleted them, when and why; latest first."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from app.services.units.entry import SUBJECT
from app.storage.models.bench import Change
from app.storage.models.rooms_and_loggers import Room
from app.storage.models.trials import Trial
from app.storage.models.units_under_test import SpeedSetting, UnitUnderTest

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
    told = {(TRIAL, key): by for key, by in trashed_by(session, TRIAL, trials).items()}
    told |= {(SUBJECT, key): by for key, by in trashed_by(session, SUBJECT, units).items()}
    nobody = TrashedBy("", "")
    return TrashList(
        tuple(
            TrashedItem(
                subject,
                number,
                names[subject, number],
                at,
                told.get((subject, number), nobody).who,
                told.get((subject, number), nobody).why,
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
