"""Clean air that a room needs, by air changes or by the 1.55 rule with its assumptions stated."""

from dataclasses import dataclass

from app.compute.clean_air.conversions import M2_PER_SQUARE_FOOT, METRES_PER_FOOT, from_cubic_feet_per_minute
from app.compute.clean_air.published_figure import PublishedFigure

FLOOR_PER_RATE = PublishedFigure(
    "floor in ft² for each ft³/min of smoke rate",
    1.55,
    "ft²/(ft³/min)",
    "trade association",
    "room size rule",
    None,
    "read",
)
RULE_CEILING_M = 8 * METRES_PER_FOOT  # read second-hand


@dataclass(frozen=True, slots=True)
class RoomNeed:
    """Clean air that a room needs.

    rate_m3_per_h : clean air delivery rate needed [m³/h]
    air_changes_per_h : the same over the room's own volume [1/h]
    volume_m3 : of the room
    assumptions : assumptions of the rule, a sentence each
    """

    rate_m3_per_h: float
    air_changes_per_h: float
    volume_m3: float
    assumptions: tuple[str, ...]


def need_by_air_changes(area_m2: float, height_m: float, air_changes_per_h: float) -> RoomNeed:
    """Floor times height times air changes.

    Raises   ValueError for a size or air changes that are not above zero

    >>> need_by_air_changes(20.0, 2.5, 5.0).rate_m3_per_h
    250.0
    """
    volume = _volume(area_m2, height_m)
    if not air_changes_per_h > 0:
        raise ValueError(f"The air changes are {air_changes_per_h:g} an hour; they must be above zero.")
    assumptions = (
        f"{air_changes_per_h:g} air changes per hour of the whole room, {volume:.0f} m³.",
        "The air in the room is well mixed, and doors and windows are closed.",
    )
    return RoomNeed(volume * air_changes_per_h, air_changes_per_h, volume, assumptions)


def need_by_155_rule(area_m2: float, height_m: float = RULE_CEILING_M) -> RoomNeed:
    r"""Rate by the rule that a unit suits a floor of 1.55 ft² for each ft³/min of its smoke rate.

    .. math:: Q[\mathrm{ft^3/min}] = A[\mathrm{ft^2}] / 1.55

    Parameters
        area_m2 : floor [m²]
        height_m : the room's own ceiling; it does not affect the rate, only the air changes [m]
    Returns  the rate; at the rule's ceiling of 8 ft it is 60/(1.55 · 8) = 4.84 air changes an hour
    Raises   ValueError for a size that is not above zero
    Source   rule: public page of a trade association, read; ceiling, 80 % and one air change an hour of ventilation:
        read second-hand; 4.84 recomputed

    >>> need = need_by_155_rule(20.0)
    >>> round(need.rate_m3_per_h, 1), round(need.air_changes_per_h, 2)
    (236.0, 4.84)
    """
    volume = _volume(area_m2, height_m)
    rate = from_cubic_feet_per_minute(area_m2 / M2_PER_SQUARE_FOOT / FLOOR_PER_RATE.value)
    changes = rate / volume
    assumptions = [
        "The rule assumes a ceiling of 8 ft (2.44 m), and so 4.84 air changes per hour.",
        "It aims at 80 % less smoke than without a unit, with one air change per hour of outdoor air.",
    ]
    if abs(height_m - RULE_CEILING_M) > 0.05:
        assumptions.append(
            f"With this ceiling of {height_m:g} m the same rate gives {changes:.2f} air changes per hour."
        )
    return RoomNeed(rate, changes, volume, tuple(assumptions))


def _volume(area_m2: float, height_m: float) -> float:
    if not (area_m2 > 0 and height_m > 0):
        raise ValueError(f"The room is {area_m2:g} m² and {height_m:g} m high; both must be above zero.")
    return area_m2 * height_m
