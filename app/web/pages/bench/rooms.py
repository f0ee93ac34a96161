"""Rooms: the list, and the form that adds or changes one."""

import math
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any

from starlette.responses import RedirectResponse, Response

from app.services.bench.definitions import NewRoom
from app.services.bench.rooms import SIDE_UNCERTAINTY_M, add_room, change_room, get_room
from app.services.history.change_history import DescribedChange, change_history
from app.services.units.cursor_lists import list_rooms
from app.web.api.shapes import Id
from app.web.dependencies import RenderDep, SessionDep
from app.web.forms.typed_form import TypedForm, TypedFormDep, empty_form, filled_form
from app.web.routers import page_router

router = page_router()


@dataclass(frozen=True, slots=True)
class RoomList:
    rooms: Sequence[Any]


@dataclass(frozen=True, slots=True)
class RoomForm:
    """`changes` are those of this room, newest first."""

    title: str
    form: TypedForm
    is_change: bool = False
    room_id: int | None = None
    changes: Sequence[DescribedChange] = ()


@router.get("/rooms")
def rooms(session: SessionDep, render: RenderDep) -> Response:
    return render("pages/bench/rooms.html", RoomList(list_rooms(session).rows))


@router.get("/rooms/add")
def room_to_add(render: RenderDep) -> Response:
    return render("pages/bench/room_form.html", RoomForm("Add a room", empty_form()))


@router.post("/rooms/add")
def room_added(session: SessionDep, render: RenderDep, form: TypedFormDep) -> Response:
    new = form.entry(NewRoom)
    if new is not None:
        with form.attempt(session):
            add_room(session, new, who=form.text("who"))
            return RedirectResponse("/rooms", 303)
    return render("pages/bench/room_form.html", RoomForm("Add a room", form), status_code=422)


@router.get("/rooms/{room_id}/edit")
def room_to_change(room_id: Id, session: SessionDep, render: RenderDep) -> Response:
    room = get_room(session, room_id)
    form = filled_form(NewRoom, room)
    for name in _following_from_sides(room):
        form.values.pop(name)
    return render("pages/bench/room_form.html", _changing(session, room.name, room_id, form))


@router.post("/rooms/{room_id}/edit")
def room_changed(room_id: Id, session: SessionDep, render: RenderDep, form: TypedFormDep) -> Response:
    name = get_room(session, room_id).name
    new = form.entry(NewRoom)
    if new is not None:
        with form.attempt(session):
            change_room(session, room_id, asdict(new), who=form.text("who"), why=form.text("why"))
            return RedirectResponse("/rooms", 303)
    return render("pages/bench/room_form.html", _changing(session, name, room_id, form), status_code=422)


def _changing(session: SessionDep, name: str, room_id: int, form: TypedForm) -> RoomForm:
    return RoomForm(f"Edit room {name}", form, True, room_id, change_history(session, "room", room_id))


def _following_from_sides(room: Any) -> tuple[str, ...]:
    """Which of volume and uncertainty are those that the sides give; the form leaves them empty, so that a changed
    side moves them."""
    sides = [side for side in (room.length_m, room.width_m, room.height_m) if side is not None]
    if len(sides) < 3 or not math.isclose(room.room_volume_m3, math.prod(sides), rel_tol=1e-9):
        return ()
    uncertainty = room.room_volume_m3 * math.hypot(*(SIDE_UNCERTAINTY_M / side for side in sides))
    same = math.isclose(room.room_volume_uncertainty_m3, uncertainty, rel_tol=1e-9)
    return ("room_volume_m3", "room_volume_uncertainty_m3") if same else ("room_volume_m3",)
