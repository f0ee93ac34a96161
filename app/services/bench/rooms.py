"""Test rooms."""

import math
from typing import Any

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from app.errors import AlreadyStored, InvalidValue, NotFound
from app.services.bench.definitions import NewRoom
from app.services.store.audit import AT_THE_DESK, record_change, write_changes
from app.services.store.entry_fields import changed_entry, checked_entry
from app.storage.models.rooms import Room

SIDE_UNCERTAINTY_M = 0.01  # a side taken with a tape measure; common practice, no source
ASSUMED_VOLUME_SHARE = 0.03  # if only a volume is given; an assumption, recorded in the room's notes


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
    _refuse_second(session, values["name"])
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
    if changed.keys() & {"length_m", "width_m", "height_m"}:  # new sides give a new volume unless one is given
        changed = {"room_volume_m3": None, "room_volume_uncertainty_m3": None} | changed
    values = _checked(changed_entry(NewRoom, room, changed, "A room"))
    if values["name"] != room.name:
        _refuse_second(session, values["name"], apart_from=room_id)
    moved = write_changes(session, room, values, "room", room_id, who=who, why=why)
    if moved & {"room_volume_m3", "room_volume_uncertainty_m3"}:
        from app.services.results.update_derived import rederive_room  # loaded when used: it needs scipy

        session.flush()
        rederive_room(session, room_id, who=who, why=why or f"the volume of {room.name} was changed")
    return room


def find_room(session: Session, name: str) -> int | None:
    """Id of the room with this name, case-insensitively."""
    return session.scalar(select(Room.id).where(func.lower(Room.name) == name.strip().lower()))


def _refuse_second(session: Session, name: str, apart_from: int | None = None) -> None:
    present = find_room(session, name)
    if present is not None and present != apart_from:
        raise AlreadyStored(
            f"A room {name!r} already exists. Choose it from the list, or give the new one another name.",
            field="room",
        )


def _checked(new: NewRoom) -> dict[str, Any]:
    values = checked_entry(new)
    known_sides = [side for side in (values["length_m"], values["width_m"], values["height_m"]) if side is not None]
    product = math.prod(known_sides) if len(known_sides) == 3 else None
    volume = product if values["room_volume_m3"] is None else values["room_volume_m3"]
    if volume is None:
        raise InvalidValue(
            f"The room {values['name']!r} has no volume and {len(known_sides)} of 3 dimensions. "
            "Enter the dimensions or the volume.",
            field="room_volume_m3",
        )
    if product is not None and volume > product * 1.001:
        raise InvalidValue(
            f"The volume is {volume:g} m³, more than length × width × height = {product:g} m³. Correct the dimensions "
            "or the volume.",
            field="room_volume_m3",
        )
    uncertainty = values["room_volume_uncertainty_m3"]
    if uncertainty is None and product is not None:
        uncertainty = volume * math.hypot(*(SIDE_UNCERTAINTY_M / side for side in known_sides))
    elif uncertainty is None:
        uncertainty = volume * ASSUMED_VOLUME_SHARE
        assumed = "The uncertainty of the volume was not specified; 3 % is assumed."
        values["notes"] = f"{values['notes']}\n{assumed}".strip()
    return values | {"room_volume_m3": volume, "room_volume_uncertainty_m3": uncertainty}
