"""One rule makes the level of a setting wherever it stands: ranking, unit page, room page, comparison."""

import math

import pytest

from app.compute.sound.levels import background_correction
from app.services.measurements.comparable_sound import read_comparable_sound
from app.services.measurements.sound_levels import sound_levels_of_unit
from app.services.ranking.room_advice import advice_for_room
from app.services.ranking.table import rank_units
from app.services.snapshot.bench_snapshot import current_snapshot
from tests.sample_data.measured_facts import add_sound

BOUNDS = ((36.0, 35.0, 1.0), (38.0, 36.5, 1.0), (37.0, None, 2.0))  # unit on, room alone, metres
PROPER = ((40.0, 25.0, 1.0), (43.0, 25.0, 1.0), (36.0, 35.5, 1.0))


def enter(session, ids, readings):
    for level, background, distance in readings:
        add_sound(session, ids.unit_id, ids.high_setting_id, level, background_dba=background, distance_m=distance)


def everywhere(session, ids):
    """Level, upper bound and estimate of the setting in each place."""
    line = next(
        line for line in rank_units(current_snapshot(session)).lines if line.row.setting_id == ids.high_setting_id
    )
    unit = next(one for one in sound_levels_of_unit(session, ids.unit_id) if one.setting.id == ids.high_setting_id)
    room = next(c for c in advice_for_room(current_snapshot(session)).candidates if c.setting_id == ids.high_setting_id)
    compared = read_comparable_sound(session, [ids.high_setting_id], standard_distance_m=1.0, rule="ISO 3746")
    level = compared[ids.high_setting_id].level
    return [
        (line.sound.level_dba, line.sound.is_upper_bound, line.sound.is_estimate),
        (unit.level.level_dba.value, unit.level.upper_bound, unit.level.estimate),
        (room.sound_dba, room.sound_is_upper_bound, room.sound_is_estimate),
        (level.level_dba.value, level.upper_bound, level.estimate),
    ], (line.sound.words, unit.level.sentences[0])


def test_readings_that_only_bound_the_level_bound_it_by_their_energy_mean(session, small_bench):
    """ISO 3746:2010, 8.3.3 (read second-hand; the cap from memory): below 3 dB 3 dB are taken off, and the result is an
    upper bound. The mean of levels is 10 lg of the mean of 10^(L/10); the third reading is 20 lg 2 higher at 1 m."""
    enter(session, small_bench, BOUNDS)
    found, sentences = everywhere(session, small_bench)
    bounds = (36.0 - 3.0, 38.0 - 3.0, 37.0 + 20 * math.log10(2.0))
    expected = 10 * math.log10(sum(10 ** (bound / 10) for bound in bounds) / 3)
    for level, upper_bound, estimate in found:
        assert level == pytest.approx(expected)
        assert upper_bound
        assert estimate
    told = f"At most {expected:.1f} dB at 1 m, the energy mean of the bounds of 3 readings, by ISO 3746"
    assert all(told in sentence for sentence in sentences)


def test_readings_that_stand_out_of_the_room_count_and_bounds_beside_them_do_not(session, small_bench):
    enter(session, small_bench, PROPER)
    found, _ = everywhere(session, small_bench)
    proper = [background_correction(level, room, "ISO 3746").level_db for level, room, _ in PROPER[:2]]
    expected = 10 * math.log10(sum(10 ** (level / 10) for level in proper) / 2)
    assert proper == [40.0, 43.0]  # more than 10 dB above the room: nothing is taken off
    assert [(pytest.approx(expected), False, False)] * 4 == found


def test_one_reading_speaks_for_itself(session, small_bench):
    enter(session, small_bench, BOUNDS[:1])
    found, sentences = everywhere(session, small_bench)
    assert [(pytest.approx(33.0), True, False)] * 4 == found
    assert all("At most 33.0 dB: the background is 35.0 dB" in sentence for sentence in sentences)
