"""Adds the room of the control chart, its changes and its check unit, through the services of the forms."""

from sqlalchemy.orm import Session

from app.services.bench.definitions import NewCheckUnit, NewRoomChange
from app.services.bench.room_changes import add_room_change, mark_check_unit
from seed_demo.control_plan import CHANGES, CHECK_FROM, CHECK_MODEL, CONTROL_ROOM
from seed_demo.fill_bench import BenchIds, add_invented_room
from seed_demo.scenario import REVIEWER, UNITS


def add_control_room(session: Session, ids: BenchIds) -> None:
    room_id = add_invented_room(session, CONTROL_ROOM, ids)
    for day, kind, words in CHANGES:
        new = NewRoomChange(changed_on=day, kind=kind, words=words, noted_by=REVIEWER)
        add_room_change(session, room_id, new, who=REVIEWER)
    unit = next(unit for unit in UNITS if unit.model == CHECK_MODEL)
    setting_id = ids.settings[unit.name, unit.highest.name]
    mark_check_unit(session, room_id, setting_id, NewCheckUnit(valid_from=CHECK_FROM, noted_by=REVIEWER), who=REVIEWER)
