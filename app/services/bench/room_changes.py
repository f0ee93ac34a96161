"""Changes of a room and its check unit, as the control charts of the room use them."""

from dataclasses import dataclass
from datetime import UTC, datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.errors import AlreadyStored, InvalidValue, NotFound
from app.services.bench.definitions import NewCheckUnit, NewRoomChange
from app.services.bench.rooms import get_room
from app.services.store.audit import AT_THE_DESK, record_change
from app.services.store.checked_values import required_text
from app.services.store.entry_fields import checked_entry
from app.storage.models.rooms import CheckUnit, RoomChange
from app.storage.models.units_under_test import SpeedSetting, UnitUnderTest

SUBJECT = "room"


@dataclass(frozen=True, slots=True)
class NamedCheckUnit:
    """A check unit with the names of its unit and setting."""

    check_unit: CheckUnit
    unit_id: int
    name: str


def add_room_change(session: Session, room_id: int, new: NewRoomChange, *, who: str = AT_THE_DESK) -> int:
    """Adds a change and returns its id. Raises InvalidValue, naming the field."""
    get_room(session, room_id)
    values = checked_entry(new)
    until = values["reference_until"]
    if until is not None and not values["new_limits"]:
        raise InvalidValue(
            f"The reference period ends on {until.isoformat()}, but no new limits begin. Choose new limits, or leave "
            "the end empty.",
            field="reference_until",
        )
    if until is not None and until < values["changed_on"]:
        raise InvalidValue(
            f"The reference period ends on {until.isoformat()}, before it begins on "
            f"{values['changed_on'].isoformat()}. Enter a later day.",
            field="reference_until",
        )
    row = RoomChange(room_id=room_id, created_at=datetime.now(UTC), **values)
    session.add(row)
    session.flush()
    record_change(session, who or row.noted_by, "added", SUBJECT, room_id, "room change", None, change_in_words(row))
    return row.id


def delete_room_change(session: Session, change_id: int, *, who: str = AT_THE_DESK, why: str) -> None:
    """Removes a change; the record of changes keeps its content."""
    row = session.get(RoomChange, change_id)
    if row is None:
        raise NotFound("room change", change_id)
    reason = required_text(why, "why", "The reason for removal")
    record_change(session, who, "taken back", SUBJECT, row.room_id, "room change", change_in_words(row), None, reason)
    session.delete(row)
    session.flush()


def change_in_words(row: RoomChange) -> str:
    """A change on one line.

    >>> from datetime import date
    >>> change_in_words(RoomChange(changed_on=date(2026, 5, 3), kind="furniture", words="new sofa", new_limits=True))
    '2026-05-03, furniture: new sofa; new limits from the next runs'
    """
    limits = ""
    if row.new_limits:
        until = "from the next runs" if row.reference_until is None else f"from the runs until {row.reference_until}"
        limits = f"; new limits {until}"
    return f"{row.changed_on.isoformat()}, {row.kind}: {row.words}{limits}"


def mark_check_unit(
    session: Session, room_id: int, setting_id: int, new: NewCheckUnit, *, who: str = AT_THE_DESK
) -> int:
    """Marks a setting as the check unit of a room from a day on and returns the id of the mark.

    Its spread enters the clean air delivery rates of the room, which are computed again. Raises NotFound for an
    unknown setting, AlreadyStored if the room has another check unit from that day.
    """
    room = get_room(session, room_id)
    values = checked_entry(new)
    if session.get(SpeedSetting, setting_id) is None:
        raise NotFound("setting", setting_id)
    day = values["valid_from"]
    if session.scalar(select(CheckUnit.id).where(CheckUnit.room_id == room_id, CheckUnit.valid_from == day)):
        raise AlreadyStored(
            f"{room.name} already has a check unit from {day.isoformat()}. Remove it, or enter another day.",
            field="valid_from",
        )
    row = CheckUnit(room_id=room_id, setting_id=setting_id, created_at=datetime.now(UTC), **values)
    session.add(row)
    session.flush()
    named = named_check_unit(session, row)
    after = f"{named.name} from {day.isoformat()}"
    record_change(session, who or row.noted_by, "added", SUBJECT, room_id, "check unit", None, after)
    _follow(session, room_id, who, f"{named.name} became the check unit of {room.name}")
    return row.id


def delete_check_unit(session: Session, mark_id: int, *, who: str = AT_THE_DESK, why: str) -> None:
    """Removes the mark; the record of changes keeps it, and the rates of the room are computed again."""
    row = session.get(CheckUnit, mark_id)
    if row is None:
        raise NotFound("check unit", mark_id)
    reason = required_text(why, "why", "The reason for removal")
    before = f"{named_check_unit(session, row).name} from {row.valid_from.isoformat()}"
    room_id = row.room_id
    record_change(session, who, "taken back", SUBJECT, room_id, "check unit", before, None, reason)
    session.delete(row)
    session.flush()
    _follow(session, room_id, who, reason)


def check_units_of_room(session: Session, room_id: int) -> tuple[NamedCheckUnit, ...]:
    """The check units of a room, oldest first; each is replaced by the next."""
    rows = session.scalars(select(CheckUnit).where(CheckUnit.room_id == room_id).order_by(CheckUnit.valid_from)).all()
    return tuple(named_check_unit(session, row) for row in rows)


def named_check_unit(session: Session, row: CheckUnit) -> NamedCheckUnit:
    unit_id, maker, model, setting = session.execute(
        select(UnitUnderTest.id, UnitUnderTest.maker, UnitUnderTest.model, SpeedSetting.name)
        .join(SpeedSetting, SpeedSetting.unit_under_test_id == UnitUnderTest.id)
        .where(SpeedSetting.id == row.setting_id)
    ).one()
    return NamedCheckUnit(row, unit_id, f"{maker} {model}, {setting}")


def _follow(session: Session, room_id: int, who: str, why: str) -> None:
    from app.services.results.update_derived import rederive_room  # loaded when used: it needs scipy

    rederive_room(session, room_id, who=who, why=why)
