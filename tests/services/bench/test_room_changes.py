"""Changes of a room and its check unit: what is entered, refused, removed and recorded."""

from datetime import date, timedelta

import pytest
from sqlalchemy.orm import Session

from app.errors import AlreadyStored, InvalidValue, NotFound
from app.services.bench.definitions import NewCheckUnit, NewRoomChange
from app.services.bench.room_changes import (
    add_room_change,
    change_in_words,
    check_units_of_room,
    delete_check_unit,
    delete_room_change,
    mark_check_unit,
)
from app.services.results.control_charts.room_charts import read_changes
from app.services.snapshot.bench_snapshot import current_snapshot
from app.services.snapshot.tried_settings import settings_in_room
from app.services.store.audit import changes_of
from app.services.store.checked_values import latest_current_day
from tests.conftest import SmallBench
from tests.sample_data.control_bench import add_runs

DAY = date(2026, 2, 3)
CHANGE = NewRoomChange(changed_on=DAY, kind="furniture", words="new sofa", noted_by="Ada")


def test_a_change_is_stored_with_a_record(session: Session, small_bench: SmallBench):
    add_room_change(session, small_bench.room_id, CHANGE, who="Ada")
    [row] = read_changes(session, small_bench.room_id)
    assert (row.kind, row.words, row.new_limits, row.noted_by) == ("furniture", "new sofa", False, "Ada")
    newest = changes_of(session, "room", small_bench.room_id)[0]
    assert (newest.who, newest.field, newest.after) == ("Ada", "room change", "2026-02-03, furniture: new sofa")


def test_the_words_say_where_new_limits_come_from():
    row = NewRoomChange(changed_on=DAY, kind="other", words="begun", new_limits=True, reference_until=date(2026, 12, 1))
    assert change_in_words(row) == "2026-02-03, other: begun; new limits from the runs until 2026-12-01"  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("told", "field", "message"),
    [
        ({"changed_on": None}, "changed_on", "The change has no date"),
        ({"changed_on": latest_current_day() + timedelta(days=30)}, "changed_on", "which is in the future"),
        ({"kind": "ghosts"}, "change_kind", "choose one of"),
        ({"words": " "}, "change_words", "The description"),
        ({"reference_until": DAY}, "reference_until", "but no new limits begin. Choose new limits"),
        (
            {"new_limits": True, "reference_until": date(2026, 1, 1)},
            "reference_until",
            "before it begins on 2026-02-03. Enter a later day",
        ),
        ({"new_limits": True, "reference_until": date(1066, 1, 1)}, "reference_until", "enter a year from 1990"),
    ],
)
def test_a_wrong_change_is_refused(session: Session, small_bench: SmallBench, told: dict, field: str, message: str):
    values = {"changed_on": DAY, "kind": "furniture", "words": "new sofa"} | told
    with pytest.raises(InvalidValue, match=message) as refused:
        add_room_change(session, small_bench.room_id, NewRoomChange(**values))
    assert refused.value.field == field


def test_a_change_of_no_room_is_refused(session: Session):
    with pytest.raises(NotFound, match="There is no room 99"):
        add_room_change(session, 99, CHANGE)


def test_a_change_is_removed_with_a_reason_that_is_recorded(session: Session, small_bench: SmallBench):
    change_id = add_room_change(session, small_bench.room_id, CHANGE)
    with pytest.raises(InvalidValue, match="The reason for removal"):
        delete_room_change(session, change_id, why=" ")
    delete_room_change(session, change_id, who="Ben", why="another room")
    assert read_changes(session, small_bench.room_id) == ()
    newest = changes_of(session, "room", small_bench.room_id)[0]
    assert (newest.action, newest.before, newest.why) == (
        "taken back",
        "2026-02-03, furniture: new sofa",
        "another room",
    )
    with pytest.raises(NotFound, match=f"There is no room change {change_id}"):
        delete_room_change(session, change_id, why="again")


def test_a_check_unit_is_marked_named_and_removed(session: Session, small_bench: SmallBench):
    mark = NewCheckUnit(valid_from=DAY, noted_by="Ada")
    mark_id = mark_check_unit(session, small_bench.room_id, small_bench.high_setting_id, mark, who="Ada")
    [named] = check_units_of_room(session, small_bench.room_id)
    assert (named.unit_id, named.name) == (small_bench.unit_id, "Maker A Model 1, high")
    with pytest.raises(AlreadyStored, match="Room A already has a check unit from 2026-02-03"):
        mark_check_unit(session, small_bench.room_id, small_bench.low_setting_id, mark)
    delete_check_unit(session, mark_id, who="Ben", why="sold")
    assert check_units_of_room(session, small_bench.room_id) == ()
    newest = changes_of(session, "room", small_bench.room_id)[0]
    assert (newest.field, newest.before, newest.why) == ("check unit", "Maker A Model 1, high from 2026-02-03", "sold")
    with pytest.raises(NotFound, match=f"There is no check unit {mark_id}"):
        delete_check_unit(session, mark_id, why="again")


def test_a_check_unit_needs_a_setting_that_exists(session: Session, small_bench: SmallBench):
    with pytest.raises(NotFound, match="There is no setting 99"):
        mark_check_unit(session, small_bench.room_id, 99, NewCheckUnit(valid_from=DAY))


def test_settings_are_offered_by_their_trials_in_the_room(session: Session, small_bench: SmallBench):
    assert settings_in_room(current_snapshot(session), small_bench.room_id) == ()
    for setting_id, number in ((small_bench.low_setting_id, 1), (small_bench.high_setting_id, 3)):
        add_runs(session, small_bench.room_id, [4.0] * number, setting=(small_bench.unit_id, setting_id))
    assert settings_in_room(current_snapshot(session), small_bench.room_id) == (
        (small_bench.high_setting_id, "Maker A Model 1, high"),
        (small_bench.low_setting_id, "Maker A Model 1, low"),
    )
