"""Two years of a third room, invented: empty-room runs with one real shift, and runs of a check unit."""

from dataclasses import replace
from datetime import date, datetime, time, timedelta

from seed_demo.scenario import HEATED, INCENSE, REVIEWER, SECOND_REVIEWER, UNITS, InventedRoom
from seed_demo.trial_plan import TrialPlan

CONTROL_ROOM = InventedRoom(
    name="Cheese loft",
    length_m=3.60,
    width_m=2.90,
    height_m=2.40,
    recorded_volume_m3=24.6,
    recorded_uncertainty_m3=0.3,
    true_volume_m3=24.5,
    air_change_per_h=0.24,
    furniture="a bench, two shelves",
    notes="Sides by tape measure, less 0.45 m³ of shelves. Kept for runs that show whether a room stays the same.",
)
FIRST_DAY, LAST_DAY, EVERY_DAYS = date(2024, 1, 15), date(2026, 1, 19), 21
# The sealing strip of the door comes loose, which nobody notes: the chart has to find it.
SHIFT_ON, AIR_CHANGE_AFTER_PER_H = date(2025, 7, 1), 0.31
CHECK_MODEL = "Pipit"
CHECK_FROM = date(2025, 1, 13)
CHANGES = (  # day, kind, words
    (date(2024, 5, 6), "furniture", "second shelf put up (invented)"),
    (date(2024, 10, 14), "season", "heating on from this week (invented)"),
    (date(2025, 4, 7), "filter", "new filter in the check unit (invented)"),
)
_FIRST_NUMBER = 501  # far from the other runs, whose random numbers must not change
_RUN_MIN, _INTERVAL_S = 120.0, 60.0


def control_runs() -> tuple[TrialPlan, ...]:
    """Every three weeks an empty-room run, and from the first purchase on a run of the check unit after it."""
    unit = next(unit for unit in UNITS if unit.model == CHECK_MODEL)
    plans: list[TrialPlan] = []
    for place in range((LAST_DAY - FIRST_DAY).days // EVERY_DAYS + 1):
        day = FIRST_DAY + timedelta(days=EVERY_DAYS * place)
        empty = TrialPlan(
            number=_FIRST_NUMBER + 2 * place,
            room=CONTROL_ROOM if day < SHIFT_ON else replace(CONTROL_ROOM, air_change_per_h=AIR_CHANGE_AFTER_PER_H),
            unit=None,
            speed=None,
            logger=HEATED,
            source=INCENSE,
            run_min=_RUN_MIN,
            started=datetime.combine(day, time(9, 5)),
            interval_s=_INTERVAL_S,
            tested_by=(REVIEWER, SECOND_REVIEWER)[place % 2],
            filter_state="",
        )
        plans.append(empty)
        if day >= CHECK_FROM:
            afternoon = datetime.combine(day, time(14, 5))
            check = replace(empty, number=empty.number + 1, unit=unit, speed=unit.highest, started=afternoon)
            plans.append(replace(check, run_min=70.0, filter_state="filter of the check unit"))
    return tuple(plans)
