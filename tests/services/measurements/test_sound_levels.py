import pytest
from sqlalchemy import select

from app.errors import InvalidValue, NotFound
from app.services.bench.choices import change_bench
from app.services.bench.definitions import BenchChoices
from app.services.measurements.definitions import NewSoundMeasurement
from app.services.measurements.sound_levels import (
    add_sound_measurement,
    delete_sound_measurement,
    sound_levels_of_unit,
)
from app.services.snapshot.setting_sound import read_setting_sounds
from app.services.store.audit import changes_of
from app.services.units.entry import SUBJECT
from app.storage.models.bench_measurements import SoundMeasurement
from tests.sample_data.measured_facts import DAY, add_sound, add_unit_with_setting


def test_the_level_of_a_setting_stands_at_the_benchs_distance(session, small_bench):
    change_bench(session, BenchChoices(standard_distance_m=2.0, sound_correction_rule="ISO 3744"))
    add_sound(session, small_bench.unit_id, small_bench.high_setting_id, 50.0)
    low, high = sound_levels_of_unit(session, small_bench.unit_id)
    assert low.level is None
    assert high.level.level_dba.value == pytest.approx(50.0 - 6.0206, abs=1e-4)
    assert high.level.estimate
    assert [row.level_dba for row in high.measurements] == [50.0]


def test_the_table_of_all_units_gives_the_same_level(session, small_bench):
    for level in (48.0, 50.0):
        add_sound(session, small_bench.unit_id, small_bench.high_setting_id, level, distance_m=1.5)
    one = sound_levels_of_unit(session, small_bench.unit_id)[1].level
    all_of_them = read_setting_sounds(session.connection(), standard_distance_m=1.0, rule="ISO 3746")
    assert all_of_them[small_bench.high_setting_id].level_dba == pytest.approx(one.level_dba.value)


def test_a_level_too_near_the_room_is_an_upper_bound(session, small_bench):
    add_sound(session, small_bench.unit_id, small_bench.low_setting_id, 36.0, background_dba=35.0)
    assert sound_levels_of_unit(session, small_bench.unit_id)[0].level.upper_bound


def test_an_entry_is_recorded_and_can_be_taken_back_with_a_reason(session, small_bench):
    entry = add_sound(session, small_bench.unit_id, small_bench.high_setting_id, 50.0)
    delete_sound_measurement(session, entry, who="Ada", why="wrong room")
    assert session.scalars(select(SoundMeasurement)).all() == []
    taken, added = changes_of(session, SUBJECT, small_bench.unit_id)
    assert added.after == "high, 50 dB(A) at 1 m, room 20, on 2026-02-03"
    assert (taken.action, taken.who, taken.why) == ("taken back", "Ada", "wrong room")
    assert taken.before == (
        "high, 50 dB(A) at 1 m, room 20, on 2026-02-03\n"
        "level [dB(A)]: 50; background [dB(A)]: 20; distance [m]: 1; position: front; environment: indoor; "
        "instrument class: 2; measured on: 2026-02-03"
    )


def test_taking_back_needs_a_reason(session, small_bench):
    entry = add_sound(session, small_bench.unit_id, small_bench.high_setting_id, 50.0)
    with pytest.raises(InvalidValue, match="The reason for removal is empty"):
        delete_sound_measurement(session, entry, why=" ")


def test_what_is_not_there_cannot_be_taken_back(session):
    with pytest.raises(NotFound, match="There is no sound measurement 7 in this bench"):
        delete_sound_measurement(session, 7, why="x")


@pytest.mark.parametrize(
    ("fields", "field", "message"),
    [
        ({"level_dba": None}, "sound_dba", "sound level is missing; enter a number from 0 to 140 dB\\(A\\)"),
        ({"level_dba": 200.0}, "sound_dba", "sound level is 200 dB\\(A\\); enter a number from 0 to 140"),
        ({"background_dba": -3.0}, "background_dba", "background level is -3 dB\\(A\\)"),
        ({"distance_m": None}, "distance_m", "The distance is missing; enter a number from 0.01 to 100 m"),
        ({"environment": "attic"}, "environment", "environment is 'attic'; choose one of: indoor, free field"),
        ({"instrument_class": "3"}, "instrument_class", "instrument class is '3'; choose one of"),
        ({"measured_on": None}, "measured_on", "The sound level has no date"),
    ],
)
def test_impossible_entries_are_refused(session, small_bench, fields, field, message):
    new = {"level_dba": 45.0, "background_dba": 30.0, "distance_m": 1.0, "measured_on": DAY} | fields
    with pytest.raises(InvalidValue, match=message) as refused:
        add_sound_measurement(session, small_bench.unit_id, small_bench.high_setting_id, NewSoundMeasurement(**new))
    assert refused.value.field == field


def test_a_setting_has_to_belong_to_the_unit(session, small_bench):
    _, other = add_unit_with_setting(session, "Model 9")
    with pytest.raises(InvalidValue, match=f"Setting {other} does not belong to Maker A Model 1"):
        add_sound(session, small_bench.unit_id, other, 40.0)
    with pytest.raises(NotFound, match="There is no setting 999"):
        add_sound(session, small_bench.unit_id, 999, 40.0)
