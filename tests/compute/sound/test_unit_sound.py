import pytest

from app.compute.sound.level import sound_level
from app.compute.sound.levels import energy_mean
from app.compute.sound.unit_sound import SoundReading, unit_sound

NEAR = SoundReading(40.0, 20.0, 1.0)
FAR = SoundReading(38.0, 20.0, 2.0)
NOISY_ROOM = SoundReading(36.0, 35.0, 1.0)


def test_readings_at_several_distances_are_brought_together():
    found = unit_sound((NEAR, FAR), 1.0, "ISO 3744")
    assert found.level_dba == pytest.approx(energy_mean([40.0, 44.0206]), abs=1e-4)
    assert found.estimate
    assert found.changes_db == pytest.approx((0.0, 6.0206), abs=1e-4)


def test_bounds_are_left_out_beside_proper_readings():
    found = unit_sound((NOISY_ROOM, NEAR), 1.0, "ISO 3744")
    assert found.used == (1,)
    assert not found.upper_bound
    assert unit_sound((NOISY_ROOM,), 1.0, "ISO 3744").upper_bound


def test_the_level_is_that_of_the_full_result():
    readings = (NEAR, FAR, NOISY_ROOM)
    assert sound_level(readings, 1.0, "ISO 3746").level_dba.value == unit_sound(readings, 1.0, "ISO 3746").level_dba


def test_no_reading_gives_no_level():
    with pytest.raises(ValueError, match="There is no sound reading; a level needs one or more"):
        unit_sound((), 1.0, "ISO 3744")
