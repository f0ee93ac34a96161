import numpy as np
import pytest

from app.compute.sound.calibration import calibration_from_known_level, calibration_from_tone, overloaded_samples
from app.compute.sound.clip import analyse_clip

RATE = 48000
TIME = np.arange(5 * RATE) / RATE
NOISE = np.random.default_rng(5).standard_normal(TIME.size)


def test_a_clip_calibrated_by_a_tone_reads_the_right_level():
    gain = 0.037  # the recorder's, unknown to the program
    recorded_tone = gain * np.sqrt(2) * np.sin(2 * np.pi * 1000 * TIME)  # 1 Pa rms is 93.98 dB
    calibration = calibration_from_tone(recorded_tone, RATE, 93.979)
    assert calibration.pascal_per_unit == pytest.approx(1 / gain, rel=1e-3)
    clip = analyse_clip(gain * 0.1 * np.sqrt(2) * np.sin(2 * np.pi * 1000 * TIME), RATE, calibration)
    assert clip.equivalent_level_dba == pytest.approx(73.98, abs=0.02)


def test_room_noise_beside_the_tone_does_not_count():
    clean = 0.1 * np.sin(2 * np.pi * 1000 * TIME)
    noisy = clean + 0.01 * NOISE
    one, other = (calibration_from_tone(x, RATE, 94.0).pascal_per_unit for x in (clean, noisy))
    assert other == pytest.approx(one, rel=2e-3)


def test_a_recording_without_a_clear_tone_is_refused():
    with pytest.raises(
        ValueError, match=r"holds \d+ % of the power of the calibration recording; 90 % or more is needed"
    ):
        calibration_from_tone(0.05 * np.sin(2 * np.pi * 1000 * TIME) + 0.05 * NOISE, RATE, 94.0)


def test_silence_is_no_tone():
    with pytest.raises(ValueError, match="holds 0 % of the power"):
        calibration_from_tone(np.zeros(TIME.size), RATE, 94.0)


@pytest.mark.parametrize("calibrate", [calibration_from_tone, calibration_from_known_level])
def test_an_overloaded_recording_is_refused(calibrate):
    loud = np.clip(1.5 * np.sin(2 * np.pi * 1000 * TIME), -1, 1)
    assert overloaded_samples(loud) > 0
    with pytest.raises(
        ValueError,
        match=r"at full scale, so the recording is clipped; a calibration "
        r"must have none",
    ):
        calibrate(loud, RATE, 94.0)


def test_a_known_level_comes_out_again():
    calibration = calibration_from_known_level(0.01 * NOISE, RATE, 47.3)
    assert analyse_clip(0.01 * NOISE, RATE, calibration).equivalent_level_dba == pytest.approx(47.3)
    assert analyse_clip(0.001 * NOISE, RATE, calibration).equivalent_level_dba == pytest.approx(27.3)


def test_a_silent_clip_has_no_level_to_be_given():
    with pytest.raises(ValueError, match="clip is silent, so it has no level"):
        calibration_from_known_level(np.zeros(TIME.size), RATE, 40.0)
