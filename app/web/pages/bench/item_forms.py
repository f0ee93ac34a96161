"""Reads the fields of a room, a logger and a smoke source from a form; several forms share them."""

import math

from app.services.bench.loggers import NewLogger
from app.services.bench.rooms import SIDE_UNCERTAINTY_M, NewRoom
from app.web.forms.typed_form import TypedForm


def room_of(form: TypedForm) -> NewRoom:
    return NewRoom(
        name=form.needed_text("room", "The name of the room"),
        length_m=form.number("length_m", "The length"),
        width_m=form.number("width_m", "The width"),
        height_m=form.number("height_m", "The height"),
        room_volume_m3=form.number("room_volume_m3", "The volume"),
        room_volume_uncertainty_m3=form.number("room_volume_uncertainty_m3", "The uncertainty of the volume"),
        furniture=form.text("furniture"),
        notes=form.text("room_notes"),
    )


def follows_from_sides(volume: float, uncertainty: float, *sides: float | None) -> tuple[bool, bool]:
    """Whether a room's volume, and its uncertainty, follow from its dimensions; the form then leaves them empty,
    so that they follow a changed dimension.

    >>> follows_from_sides(30.0, 0.5, 4.0, 3.0, 2.5)
    (True, False)
    """
    known = [side for side in sides if side is not None]
    if len(known) < 3 or not math.isclose(volume, math.prod(known), rel_tol=1e-9):
        return False, False
    relative = math.hypot(*(SIDE_UNCERTAINTY_M / side for side in known))
    return True, math.isclose(uncertainty, volume * relative, rel_tol=1e-9)


def logger_of(form: TypedForm) -> NewLogger:
    return NewLogger(
        name=form.needed_text("logger", "The name of the logger"),
        profile_id=form.whole_number("profile_id", "The profile"),
        principle=form.text("principle"),
        response_time_s=form.number("response_time_s", "The response time"),
        saturation_level_ug_m3=form.number("saturation_level_ug_m3", "The saturation level"),
        calibration=form.text("calibration"),
        notes=form.text("logger_notes"),
    )
