"""Undoes the last change of a unit, as long as it is recent and nothing of the unit was changed since.

A change is everything that one request recorded: its entries of the record have one time. An undone entry is removed,
and an undone field gets its value back; both are recorded like any removal or change.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.errors import InvalidValue
from app.services.measurements.claims import delete_claim
from app.services.measurements.delete_entry import delete_entry
from app.services.measurements.ozone_tests import delete_ozone_test
from app.services.measurements.power_levels import delete_power_measurement
from app.services.measurements.ratings import delete_rating
from app.services.measurements.sound_clips import delete_clip
from app.services.measurements.sound_levels import delete_sound_measurement
from app.services.store.audit import AT_THE_DESK
from app.services.store.entry_fields import EntryField, entry_fields
from app.services.units.attachments.attach import detach
from app.services.units.definitions import NewUnit
from app.services.units.entry import SUBJECT, change_unit
from app.services.units.prices import price_words
from app.services.units.speed_settings import choose_highest, rename_setting, settings_of
from app.storage.models.attachments import Attachment
from app.storage.models.bench import Change
from app.storage.models.bench_measurements import OzoneTest, PowerMeasurement, SoundMeasurement
from app.storage.models.ratings_and_claims import Claim, Rating
from app.storage.models.reviews import Verdict
from app.storage.models.sound_clips import SoundClip
from app.storage.models.trials import Trial
from app.storage.models.units_under_test import Consumable, ConsumablePrice, Price, SpeedSetting

UNDO_FOR = timedelta(minutes=10)
UNDONE = "undone"  # the reason in the record
_MOST_ADDED = 8  # by one form; a change that adds more fills a bench, and is no slip of a moment
_PACK_PRICE = "price of "  # field of a part's price, followed by the name of the part

Remove = Callable[..., object]
# field of the record to the table and the function that removes a row; the newest row of the unit is the one added
_ADDED: dict[str, tuple[Any, Remove]] = {
    "sound level": (SoundMeasurement, delete_sound_measurement),
    "power": (PowerMeasurement, delete_power_measurement),
    "ozone": (OzoneTest, delete_ozone_test),
    "rating": (Rating, delete_rating),
    "claim": (Claim, delete_claim),
    "sound clip": (SoundClip, delete_clip),
    "attachment": (Attachment, detach),
}
_FIELDS: dict[str, EntryField] = {each.name: each for each in entry_fields(NewUnit)}


@dataclass(frozen=True, slots=True)
class LastChange:
    """The last change of a unit; `id` is that of its newest entry in the record."""

    id: int
    who: str
    until: datetime
    entries: Sequence[Change]


def last_change(session: Session, unit_id: int, now: datetime | None = None) -> LastChange | None:
    """The last change of a unit, None if it cannot be undone (any more)."""
    of_unit = (Change.subject == SUBJECT, Change.subject_id == unit_id)
    newest = session.scalar(select(Change).where(*of_unit).order_by(Change.id.desc()).limit(1))
    if newest is None or newest.at + UNDO_FOR < (now or datetime.now(UTC)):
        return None
    entries = session.scalars(select(Change).where(*of_unit, Change.at == newest.at).order_by(Change.id.desc())).all()
    if sum(entry.action == "added" for entry in entries) > _MOST_ADDED:
        return None
    if not all(_can_be_undone(entry) for entry in entries):
        return None
    return LastChange(newest.id, newest.who, newest.at + UNDO_FOR, entries)


def undo_last_change(
    session: Session, unit_id: int, change_id: int, *, who: str = AT_THE_DESK, now: datetime | None = None
) -> None:
    """Undoes the last change of a unit. Raises InvalidValue if it is not the one with this id any more."""
    last = last_change(session, unit_id, now)
    if last is None or last.id != change_id:
        raise InvalidValue(
            "The unit was changed again, or ten minutes have passed, so nothing was undone. Remove the entry on its "
            "own page."
        )
    for entry in last.entries:
        _undo(session, unit_id, entry, who)
    session.flush()


def _can_be_undone(entry: Change) -> bool:
    if entry.why == UNDONE:
        return False
    if entry.field == "verdict":
        return entry.action in ("added", "changed")
    if entry.action == "added":
        return entry.field in (*_ADDED, "price", "consumable", "setting") or entry.field.startswith(_PACK_PRICE)
    return entry.action == "changed" and entry.field in (*_FIELDS, "setting", "highest setting")


def _undo(session: Session, unit_id: int, entry: Change, who: str) -> None:
    field = entry.field
    if entry.action == "added" and field in _ADDED:
        table, remove = _ADDED[field]
        remove(session, _newest(session, table, unit_id).id, who=who, why=UNDONE)
    elif field == "verdict":
        _remove(session, Verdict, unit_id, field, entry.after or "", who)
    elif entry.action == "added":
        _undo_added_part(session, unit_id, entry, who)
    elif field == "setting":
        renamed = next(each for each in settings_of(session, unit_id) if each.name == entry.after)
        rename_setting(session, renamed.id, entry.before or "", field=field, who=who)
    elif field == "highest setting":
        before = next((each.id for each in settings_of(session, unit_id) if each.name == entry.before), None)
        choose_highest(session, unit_id, before, who=who)
    else:
        change_unit(session, unit_id, {field: value_before(_FIELDS[field], entry.before)}, who=who, why=UNDONE)


def _undo_added_part(session: Session, unit_id: int, entry: Change, who: str) -> None:
    """Of a price, a part, the price of a part, or a setting."""
    if entry.field == "price":
        price = _newest(session, Price, unit_id)
        delete_entry(session, price, entry.field, price_words(price), who=who, why=UNDONE)
    elif entry.field == "consumable":
        _remove(session, Consumable, unit_id, entry.field, entry.after or "", who)
    elif entry.field == "setting":
        setting = _newest(session, SpeedSetting, unit_id)
        if session.scalar(select(Trial.id).where(Trial.setting_id == setting.id).limit(1)) is not None:
            raise InvalidValue(f"A trial uses the setting {setting.name!r} already, so it was not undone.")
        delete_entry(session, setting, entry.field, setting.name, who=who, why=UNDONE)
    else:
        asked = (
            select(ConsumablePrice)
            .join(Consumable, Consumable.id == ConsumablePrice.consumable_id)
            .where(Consumable.unit_under_test_id == unit_id)
            .order_by(ConsumablePrice.id.desc())
            .limit(1)
        )
        of_pack = session.scalars(asked).one()
        delete_entry(session, of_pack, entry.field, price_words(of_pack), who=who, why=UNDONE, unit_id=unit_id)


def _remove(session: Session, table: Any, unit_id: int, field: str, words: str, who: str) -> None:
    delete_entry(session, _newest(session, table, unit_id), field, words, who=who, why=UNDONE)


def _newest(session: Session, table: Any, unit_id: int) -> Any:
    asked = select(table).where(table.unit_under_test_id == unit_id).order_by(table.id.desc()).limit(1)
    return session.scalars(asked).one()


def value_before(field: EntryField, text: str | None) -> Any:
    """The value of a field from its text in the record of changes.

    >>> value_before(_FIELDS["mass_kg"], "4.2"), value_before(_FIELDS["makes_ozone"], "no")
    (4.2, False)
    """
    if text is None:
        return None
    if field.kind == "number":
        return float(text)
    if field.kind == "day":
        return date.fromisoformat(text)
    return text == "yes" if field.kind == "yes or no" else text
