"""Test rooms and smoke sources."""

import math
from dataclasses import dataclass, fields

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from app.errors import AlreadyStored, InvalidValue, NotFound
from app.services.store.audit import AT_THE_DESK, record_change
from app.services.store.checked_values import (
    number_above_zero,
    number_not_below_zero,
    one_of,
    optional_above_zero,
    optional_text,
    required_text,
)
from app.storage.models.rooms_and_loggers import Room, SmokeSource

AEROSOLS = ("smoke", "dust", "pollen")
SIDE_UNCERTAINTY_M = 0.01  # a side measured with a tape; common practice, no source
ASSUMED_VOLUME_SHARE = 0.03  # if only a volume is given; an assumption, recorded in the room's notes


@dataclass(frozen=True, slots=True, kw_only=True)
class NewRoom:
    """A room by its dimensions, its volume, or both if furniture takes up part of it."""

    name: str
    length_m: float | None = None
    width_m: float | None = None
    height_m: float | None = None
    room_volume_m3: float | None = None
    room_volume_uncertainty_m3: float | None = None
    furniture: str = ""
    notes: str = ""


def get_room(session: Session, room_id: int) -> Room:
    room = session.get(Room, room_id)
    if room is None:
        raise NotFound("room", room_id)
    return room


def add_room(session: Session, new_room: NewRoom, *, who: str = AT_THE_DESK) -> int:
    """Adds a room and returns its id.

    Without a volume it is length × width × height. Without an uncertainty each side counts as known to 1 cm; if
    only a volume is given, 3 % is assumed and the notes say so.
    """
    values = _checked(new_room)
    _refuse_second(session, str(values["name"]))
    room = Room(**values)
    session.add(room)
    session.flush()
    record_change(session, who, "added", "room", room.id, after=f"{room.name}, {room.room_volume_m3:g} m³")
    return room.id


def change_room(
    session: Session, room_id: int, changed: dict[str, object], *, who: str = AT_THE_DESK, why: str = ""
) -> Room:
    """Changes the given fields. A new volume changes the clean air rates of the room's trials, and changes are
    recorded.
    """
    room = get_room(session, room_id)
    names = [field.name for field in fields(NewRoom)]
    unknown = sorted(changed.keys() - set(names))
    if unknown:
        raise InvalidValue(f"A room has no field {unknown[0]!r}; it has: {', '.join(names)}.", field=unknown[0])
    asked = {name: getattr(room, name) for name in names} | changed
    if changed.keys() & {"length_m", "width_m", "height_m"}:  # new dimensions give a new volume unless one is given
        asked |= {name: changed.get(name) for name in ("room_volume_m3", "room_volume_uncertainty_m3")}
    values = _checked(NewRoom(**asked))
    if values["name"] != room.name:
        _refuse_second(session, str(values["name"]), apart_from=room_id)
    volume_moves = False
    for name in names:
        before, after = getattr(room, name), values[name]
        if before != after:
            setattr(room, name, after)
            record_change(session, who, "changed", "room", room_id, name, before, after, why)
            volume_moves = volume_moves or name.startswith("room_volume")
    if volume_moves:
        from app.services.results.update_derived import rederive_room  # loaded when used: it needs scipy

        session.flush()
        rederive_room(session, room_id, who=who, why=why or f"the volume of {room.name} was changed")
    return room


def find_room(session: Session, name: str) -> int | None:
    """Id of the room with this name, case-insensitively."""
    return session.scalar(select(Room.id).where(func.lower(Room.name) == name.strip().lower()))


def add_smoke_source(
    session: Session, name: str, aerosol: str = "smoke", notes: str = "", *, who: str = AT_THE_DESK
) -> int:
    """Adds a smoke source and returns its id; `aerosol` limits what a result can be compared with."""
    checked_name = required_text(name, "smoke_source", "The name of the smoke source")
    checked_aerosol = one_of(aerosol, AEROSOLS, "aerosol", "The aerosol")
    if find_smoke_source(session, checked_name) is not None:
        raise AlreadyStored(
            f"A smoke source {checked_name!r} is on the bench already. Choose it from the list, "
            "or give the new one another name.",
            field="smoke_source",
        )
    source = SmokeSource(
        name=checked_name, aerosol=checked_aerosol, notes=optional_text(notes, "smoke_source_notes", "The notes")
    )
    session.add(source)
    session.flush()
    record_change(session, who, "added", "smoke source", source.id, after=source.name)
    return source.id


def find_smoke_source(session: Session, name: str) -> int | None:
    return session.scalar(select(SmokeSource.id).where(func.lower(SmokeSource.name) == name.strip().lower()))


def _refuse_second(session: Session, name: str, apart_from: int | None = None) -> None:
    present = find_room(session, name)
    if present is not None and present != apart_from:
        raise AlreadyStored(
            f"A room {name!r} is on the bench already. Choose it from the list, or give the new one another name.",
            field="room",
        )


def _checked(new: NewRoom) -> dict[str, object]:
    name = required_text(new.name, "room", "The name of the room")
    sides = [
        optional_above_zero(new.length_m, "length_m", "The length", "m"),
        optional_above_zero(new.width_m, "width_m", "The width", "m"),
        optional_above_zero(new.height_m, "height_m", "The height", "m"),
    ]
    known_sides = [side for side in sides if side is not None]
    notes = optional_text(new.notes, "room_notes", "The notes")
    product = math.prod(known_sides) if len(known_sides) == 3 else None
    if new.room_volume_m3 is None and product is None:
        raise InvalidValue(
            f"The room {name!r} has {len(known_sides)} of three sides and no volume. "
            "Give length, width and height in m, or the volume in m³.",
            field="room_volume_m3",
        )
    volume = product if new.room_volume_m3 is None else new.room_volume_m3
    volume = number_above_zero(volume, "room_volume_m3", "The volume", "m³")
    if product is not None and volume > product * 1.001:
        raise InvalidValue(
            f"The volume is {volume:g} m³, more than length × width × height = {product:g} m³. "
            "Correct the sides or the volume.",
            field="room_volume_m3",
        )
    if new.room_volume_uncertainty_m3 is not None:
        uncertainty = number_not_below_zero(
            new.room_volume_uncertainty_m3, "room_volume_uncertainty_m3", "The uncertainty of the volume", "m³"
        )
    elif product is not None:
        uncertainty = volume * math.hypot(*(SIDE_UNCERTAINTY_M / side for side in known_sides))
    else:
        uncertainty = volume * ASSUMED_VOLUME_SHARE
        notes = f"{notes}\nThe uncertainty of the volume was not told; 3 % is assumed.".strip()
    return {
        "name": name,
        "length_m": sides[0],
        "width_m": sides[1],
        "height_m": sides[2],
        "room_volume_m3": volume,
        "room_volume_uncertainty_m3": uncertainty,
        "furniture": optional_text(new.furniture, "furniture", "The note of furniture"),
        "notes": notes,
    }
