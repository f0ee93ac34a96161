import math

import pytest

from app.compute.sound.level import sound_level
from app.compute.sound.levels import energy_mean
from app.compute.sound.unit_sound import SoundReading


def readings(*levels, background=20.0, distance=1.0, **fields):
    return tuple(SoundReading(level, background, distance, **fields) for level in levels)


def test_repeats_are_averaged_by_energy():
    found = sound_level(readings(40.0, 42.0, 44.0, instrument_class="1"), 1.0, "ISO 3744")
    assert found.level_dba.value == pytest.approx(energy_mean([40.0, 42.0, 44.0]))
    assert found.level_dba.uncertainty == pytest.approx(math.hypot(2 / math.sqrt(3), 0.7 / math.sqrt(3)))
    assert not found.estimate
    assert not found.upper_bound
    assert found.sentences == ()


def test_a_better_meter_gives_less_uncertainty():
    u = {
        c: sound_level(readings(40.0, instrument_class=c), 1.0, "ISO 3744").level_dba.uncertainty
        for c in ("1", "2", "")
    }
    assert u["1"] < u["2"] < u[""]


def test_another_distance_is_an_estimate_and_less_sure_indoors():
    indoors = sound_level(readings(40.0, distance=2.0), 1.0, "ISO 3744")
    outdoors = sound_level(readings(40.0, distance=2.0, indoor=False), 1.0, "ISO 3744")
    assert indoors.estimate
    assert outdoors.estimate
    assert indoors.level_dba.value == pytest.approx(46.0206, abs=1e-4)
    assert indoors.level_dba.uncertainty > outdoors.level_dba.uncertainty
    assert "Measured at 2 m and converted to 1 m by 20 lg of the distances: an estimate." in indoors.sentences


def test_bounds_beside_proper_readings_are_left_out_and_told():
    mixed = readings(40.0, 40.0) + readings(40.0, background=39.0) + readings(40.0, background=None)
    found = sound_level(mixed, 1.0, "ISO 3744")
    assert found.readings == 4
    assert not found.upper_bound
    assert found.sentences[0].startswith("2 of 4 readings give only an upper bound, because")


def test_bounds_only_give_an_upper_bound():
    found = sound_level(readings(36.0, background=35.5), 1.0, "ISO 3746")
    assert found.upper_bound
    assert found.level_dba.value == pytest.approx(33.0)
    assert found.sentences[0].startswith("At most 33.0 dB")


def test_one_reading_without_a_class_says_both():
    found = sound_level(readings(40.0), 1.0, "ISO 3744")
    assert found.sentences == (
        "The meter class is not specified, so ±3 dB is assumed.",
        "Only one reading, so the spread between readings is not known.",
    )


def test_no_reading_gives_no_level():
    with pytest.raises(ValueError, match="There is no sound reading; a level needs one or more"):
        sound_level((), 1.0, "ISO 3744")
