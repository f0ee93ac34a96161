"""What was changed, in words for a reader: of what, when, why, and what it was before; who did it is left out."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import and_, or_, select
from sqlalchemy.orm import Session

from app.reading_files.channels import channel
from app.services.bench_lists import ListPart, list_part
from app.services.recent_changes import CONSEQUENCE
from app.storage.bench import Change
from app.storage.trials import Trial
from app.storage.units_under_test import UnitUnderTest

# What a reader of published results is told of; how a logger is set up is the desk's own affair.
PUBLIC_SUBJECTS = ("trial", "unit under test", "room")
_ACTIONS = {
    "added": "was added",
    "changed": "was changed",
    "excluded": "was left out of what is combined",
    "restored": "was taken back in",
    "trashed": "was put in the trash",
    "untrashed": "was taken back from the trash",
    "taken back": "was taken back",
    "disabled": "was disabled",
    "enabled": "was enabled again",
    "revoked": "was revoked",
    "withdrawn": "was withdrawn",
    CONSEQUENCE: "was computed again",
}


@dataclass(frozen=True, slots=True)
class ToldChange:
    """One change. `unit_id` and `trial_id` say where it leads; `what` is a sentence without its full stop."""

    id: int
    at: datetime
    subject: str
    subject_id: int
    unit_id: int | None
    trial_id: int | None
    name: str
    what: str
    before: str | None
    after: str | None
    why: str
    who: str


def told_changes(
    session: Session,
    limit: int = 100,
    cursor: str | None = None,
    *,
    subject: str = "",
    unit_id: int | None = None,
    consequences: bool = True,
    corrections_only: bool = False,
    public_only: bool = False,
) -> ListPart[ToldChange]:
    """Changes, newest first, in words.

    subject : one kind of thing alone; unit_id : that unit and its trials alone
    consequences : False leaves out the numbers that moved because of another change
    corrections_only : without what was only added; public_only : without what is the desk's own affair
    """
    statement = select(Change)
    if subject:
        statement = statement.where(Change.subject == subject)
    if public_only:
        statement = statement.where(Change.subject.in_(PUBLIC_SUBJECTS))
    if unit_id is not None:
        trials = select(Trial.id).where(Trial.unit_under_test_id == unit_id)
        statement = statement.where(
            or_(
                and_(Change.subject == "unit under test", Change.subject_id == unit_id),
                and_(Change.subject == "trial", Change.subject_id.in_(trials)),
            )
        )
    if not consequences:
        statement = statement.where(Change.action != CONSEQUENCE)
    if corrections_only:
        statement = statement.where(Change.action != "added")
    part = list_part(session, statement, Change.id, limit, cursor, newest_first=True)
    return ListPart(told(session, part.rows), part.next_cursor)


def told(session: Session, changes: Sequence[Change]) -> tuple[ToldChange, ...]:
    """The changes in words, with the unit that each belongs to."""
    trial_ids = {change.subject_id for change in changes if change.subject == "trial"}
    units = {
        row.id: row.unit_under_test_id
        for row in session.execute(select(Trial.id, Trial.unit_under_test_id).where(Trial.id.in_(trial_ids)))
    }
    unit_ids = {change.subject_id for change in changes if change.subject == "unit under test"} | set(units.values())
    names = {
        row.id: f"{row.maker} {row.model}"
        for row in session.execute(
            select(UnitUnderTest.id, UnitUnderTest.maker, UnitUnderTest.model).where(UnitUnderTest.id.in_(unit_ids))
        )
    }
    return tuple(_told(change, units, names) for change in changes)


def _told(change: Change, units: dict[int, int | None], names: dict[int, str]) -> ToldChange:
    is_trial, is_unit = change.subject == "trial", change.subject == "unit under test"
    unit_id = change.subject_id if is_unit else units.get(change.subject_id) if is_trial else None
    name = names.get(unit_id or 0, "")
    if is_trial:
        name = f"Trial {change.subject_id} ({name or 'empty room'})"
    return ToldChange(
        id=change.id,
        at=change.at,
        subject=change.subject,
        subject_id=change.subject_id,
        unit_id=unit_id,
        trial_id=change.subject_id if is_trial else None,
        name=name or f"{change.subject} {change.subject_id}".capitalize(),
        what=what_changed(change.field, change.action),
        before=change.before,
        after=change.after,
        why=change.why,
        who=change.who,
    )


def what_changed(field: str, action: str) -> str:
    """What was done to what, as a sentence without its subject and full stop.

    >>> what_changed("unit_on_s", "changed"), what_changed("", "excluded")
    ('unit on [s] was changed', 'was left out of what is combined')
    """
    return f"{field_words(field)}{_ACTIONS.get(action, action)}"


def field_words(field: str) -> str:
    """A stored field as a reader would say it, ready to stand before a verb; nothing where the whole thing is meant.

    >>> field_words("pm2_5 total_decay_per_h"), field_words("unit_on_s"), field_words("")
    ('PM2.5: total decay [1/h] ', 'unit on [s] ', '')
    """
    if not field:
        return ""
    first, _, rest = field.partition(" ")
    if rest and "_" in rest:
        return f"{channel(first).label}: {_unit_apart(rest)} "
    return f"{_unit_apart(field)} "


_UNITS = (
    ("_m3_per_h", "m³/h"),
    ("_ug_m3", "µg/m³"),
    ("_per_kwh", "1/kWh"),
    ("_per_h", "1/h"),
    ("_min", "min"),
    ("_m3", "m³"),
    ("_dba", "dB(A)"),
    ("_mm", "mm"),
    ("_kg", "kg"),
    ("_m", "m"),
    ("_w", "W"),
    ("_s", "s"),
)


def _unit_apart(name: str) -> str:
    for ending, unit in _UNITS:
        if name.endswith(ending):
            return f"{name.removesuffix(ending).replace('_', ' ')} [{unit}]"
    return name.replace("_", " ")
