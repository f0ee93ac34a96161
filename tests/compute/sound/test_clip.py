import math

import numpy as np
import pytest

from app.compute.sound.calibration import REFERENCE_PA, Calibration
from app.compute.sound.clip import analyse_clip, fast_level_db
from app.compute.sound.frequency_weighting import weighting_db

RATE = 48000
FULL = Calibration(1.0, "known level", 94.0)  # a sample of 1 is 1 Pa


def tone(frequency_hz, level_db, seconds=5.0):
    amplitude = math.sqrt(2) * REFERENCE_PA * 10 ** (level_db / 20)
    return amplitude * np.sin(2 * np.pi * frequency_hz * np.arange(round(seconds * RATE)) / RATE)


def noise(level_db, seconds=5.0, seed=0):
    rms = REFERENCE_PA * 10 ** (level_db / 20)
    return rms * np.random.default_rng(seed).standard_normal(round(seconds * RATE))


@pytest.mark.parametrize("frequency_hz", [63.0957, 251.1886, 1000.0, 3981.0717, 10000.0])
def test_the_level_of_a_tone_is_its_level_plus_the_weighting(frequency_hz):
    clip = analyse_clip(tone(frequency_hz, 70.0), RATE, FULL)
    expected = 70.0 + float(weighting_db(frequency_hz, "A"))
    assert clip.equivalent_level_dba == pytest.approx(expected, abs=0.05)
    assert clip.fast_maximum_dba == pytest.approx(expected, abs=0.2)
    assert clip.l10_dba - clip.l90_dba < 0.1


def test_a_tone_stands_in_its_own_third_octave():
    bands = {band.nominal_hz: band.level_db for band in analyse_clip(tone(1000.0, 60.0), RATE, FULL).bands}
    assert bands[1000] == pytest.approx(60.0, abs=0.05)
    assert bands[800] < 20.0
    assert bands[1250] < 20.0


def test_white_noise_rises_by_one_decibel_a_third_octave_and_sums_to_the_whole():
    """White noise has the power of a band in proportion to its width: 10 lg(10^0.1) = 1 dB from band to band."""
    clip = analyse_clip(noise(60.0, seconds=20), RATE, FULL)
    levels = np.array([band.level_db for band in clip.bands if band.nominal_hz >= 200])
    assert np.polyfit(np.arange(levels.size), levels, 1)[0] == pytest.approx(1.0, abs=0.01)
    a_sum = 10 * math.log10(sum(10 ** (band.level_dba / 10) for band in clip.bands))
    assert a_sum == pytest.approx(clip.equivalent_level_dba, abs=0.1)


def test_levels_exceeded_part_of_the_time():
    quiet, loud = noise(40.0, seconds=8), noise(60.0, seconds=2, seed=1)
    clip = analyse_clip(np.concatenate([quiet, loud]), RATE, FULL)
    steady = analyse_clip(noise(40.0, seconds=8), RATE, FULL).equivalent_level_dba
    assert clip.l10_dba == pytest.approx(steady + 20, abs=0.5)
    assert clip.l90_dba == pytest.approx(steady, abs=0.5)
    assert clip.equivalent_level_dba == pytest.approx(steady + 10 * math.log10(0.8 + 0.2 * 100), abs=0.1)


@pytest.mark.parametrize(
    ("burst_s", "below_steady_db"), [(1.0, 0.0), (0.5, 0.1), (0.2, 1.0), (0.1, 2.6), (0.05, 4.8), (0.01, 11.1)]
)
def test_a_short_tone_reads_lower_on_the_fast_meter(burst_s, below_steady_db):
    """IEC 61672-1, toneburst responses for the time weighting F, from memory; equal to the recomputed
    10 lg(1 - exp(-T/0.125 s)) at the printed precision."""
    squared = np.zeros(2 * RATE)
    squared[: round(burst_s * RATE)] = 1.0
    assert -fast_level_db(squared, RATE).max() == pytest.approx(below_steady_db, abs=0.051)


def test_without_calibration_levels_are_relative_and_it_is_said():
    clip = analyse_clip(0.1 * noise(94.0), RATE, None)
    assert not clip.calibrated
    assert [note.code for note in clip.notes] == ["clip_not_calibrated"]
    assert "cannot be compared with another clip" in clip.notes[0].message
    assert clip.equivalent_level_dba < 0


def test_an_overloaded_clip_is_unusable():
    clip = analyse_clip(np.clip(3 * tone(500.0, 94.0), -1, 1), RATE, FULL)
    assert clip.notes[0].code == "clip_overloaded"
    assert clip.notes[0].severity == "unusable"
    assert "the recording is clipped" in clip.notes[0].message


def test_a_silent_clip_has_no_tone_and_no_crash():
    clip = analyse_clip(np.zeros(5 * RATE), RATE, FULL)
    assert clip.tones == ()
    assert clip.equivalent_level_dba < -200


def test_a_prominent_tone_is_listed():
    clip = analyse_clip(noise(50.0) + tone(2000.0, 45.0), RATE, FULL)
    assert [round(found.frequency_hz) for found in clip.tones if found.prominent] == [2000]
    assert clip.tone_method == "prominence ratio, ECMA-418-1"


@pytest.mark.parametrize("samples", [np.zeros((5 * RATE, 2)), np.full(5 * RATE, np.nan)])
def test_more_than_one_channel_or_no_numbers_are_refused(samples):
    with pytest.raises(ValueError, match=r"must be one channel of numbers. Choose one channel"):
        analyse_clip(samples, RATE, None)


def test_a_short_clip_is_refused():
    with pytest.raises(ValueError, match=r"clip lasts 1.00 s; a spectrum needs 3 s or more. Record longer"):
        analyse_clip(noise(50.0, seconds=1), RATE, None)
