"""The record of changes in words for readers: what, when, why, and the value before. Names of people are omitted."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import and_, or_, select
from sqlalchemy.orm import Session

from app.services.history.change_labels import PLURAL, ItemNames, field_label, value_text
from app.services.history.reader_changes import of_interest
from app.services.store.audit import changes_of
from app.services.units.cursor_lists import ListPart, list_part
from app.storage.models.bench import Change
from app.storage.models.trials import Trial
from app.storage.models.units_under_test import UnitUnderTest

# Recomputed numbers follow from another change, which is listed itself.
CONSEQUENCE = "recomputed"
_ACTIONS = {
    "added": "was added",
    "changed": "was changed",
    "excluded": "was excluded from the results",
    "restored": "was included again",
    "trashed": "was moved to the trash",
    "untrashed": "was restored from the trash",
    "taken back": "was removed",
    "disabled": "was disabled",
    "enabled": "was enabled",
    "revoked": "was revoked",
    "withdrawn": "was withdrawn",
    "published": "was published",
    CONSEQUENCE: "was recalculated",
}


@dataclass(frozen=True, slots=True)
class DescribedChange:
    """One change in words. `unit_id` and `trial_id` are for links; `what` is a sentence without its full stop."""

    id: int
    at: datetime
    subject: str
    subject_id: int
    action: str
    unit_id: int | None
    trial_id: int | None
    name: str
    what: str
    field: str
    before: str | None  # of a deleted entry, the second line lists all its fields
    after: str | None
    why: str
    who: str

    @property
    def before_short(self) -> str | None:
        """For readers: the first line only, a summary of a deleted entry."""
        return self.before and self.before.partition("\n")[0]


@dataclass(frozen=True, slots=True)
class ChangeFilter:
    """Which changes a list shows.

    subject : only this kind of item; unit_id : only this unit and its trials; trial_id : only this trial
    consequences : False omits numbers that changed because of another change
    corrections_only : omits additions; public_only : omits internal changes
    """

    subject: str = ""
    unit_id: int | None = None
    trial_id: int | None = None
    consequences: bool = True
    corrections_only: bool = False
    public_only: bool = False


ALL_CHANGES = ChangeFilter()


def described_changes(
    session: Session, limit: int = 100, cursor: str | None = None, wanted: ChangeFilter = ALL_CHANGES
) -> ListPart[DescribedChange]:
    """Changes in words, newest first."""
    statement = select(Change)
    if wanted.subject:
        statement = statement.where(Change.subject == wanted.subject)
    if wanted.public_only:
        statement = statement.where(of_interest())
    if wanted.trial_id is not None:
        statement = statement.where(Change.subject == "trial", Change.subject_id == wanted.trial_id)
    if wanted.unit_id is not None:
        trials = select(Trial.id).where(Trial.unit_under_test_id == wanted.unit_id)
        statement = statement.where(
            or_(
                and_(Change.subject == "unit under test", Change.subject_id == wanted.unit_id),
                and_(Change.subject == "trial", Change.subject_id.in_(trials)),
            )
        )
    if not wanted.consequences:
        statement = statement.where(Change.action != CONSEQUENCE)
    if wanted.corrections_only:
        statement = statement.where(Change.action != "added")
    part = list_part(session, statement, Change.id, limit, cursor, newest_first=True)
    return ListPart(described(session, part.rows), part.next_cursor)


def described(session: Session, changes: Sequence[Change]) -> tuple[DescribedChange, ...]:
    """The changes in words, with the unit of each."""
    if not changes:
        return ()
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
    names_of_items = ItemNames(session, changes)
    return tuple(_described(change, units, names, names_of_items) for change in changes)


def _described(
    change: Change, units: dict[int, int | None], names: dict[int, str], names_of_items: ItemNames
) -> DescribedChange:
    is_trial, is_unit = change.subject == "trial", change.subject == "unit under test"
    unit_id = change.subject_id if is_unit else units.get(change.subject_id) if is_trial else None
    name = names.get(unit_id or 0, "")
    if is_trial:
        name = f"Trial {change.subject_id} ({name or 'empty room'})"
    is_new = change.action == "added"
    return DescribedChange(
        id=change.id,
        at=change.at,
        subject=change.subject,
        subject_id=change.subject_id,
        action=change.action,
        unit_id=unit_id,
        trial_id=change.subject_id if is_trial else None,
        name=name or _name_of(change, names_of_items),
        what=what_changed("" if _is_about_whole_item(change) else change.field, change.action),
        field=change.field,
        before=None if is_new else value_text(change.field, change.before, names_of_items),
        after=value_text(change.field, change.after, names_of_items),
        why=change.why,
        who=change.who,
    )


def _is_about_whole_item(change: Change) -> bool:
    """Whether the item itself was added or removed, so that no field is named."""
    return change.subject == "tariff" or change.action == "restored"


def _name_of(change: Change, names_of_items: ItemNames) -> str:
    if change.subject == "bench":
        return "The bench"
    words = "price of electricity" if change.subject == "tariff" else change.subject
    named = names_of_items.of_subject(change.subject, change.subject_id)
    return f"{words.capitalize()}: {named}" if named else f"{words} {change.subject_id}".capitalize()


def change_history(session: Session, subject: str, subject_id: int) -> tuple[DescribedChange, ...]:
    """The full history of one item in words, newest first."""
    return described(session, changes_of(session, subject, subject_id))


def what_changed(field: str, action: str) -> str:
    """Describes a change, as a sentence without its subject and full stop.

    >>> what_changed("unit_on_s", "changed"), what_changed("", "excluded")
    ('the mark “unit on” [min] was changed', 'was excluded from the results')
    >>> what_changed("notes", "changed")
    'the notes were changed'
    """
    words = _ACTIONS.get(action, action)
    if field in PLURAL:
        words = words.replace("was ", "were ", 1)
    return f"{field_label(field)}{words}"
