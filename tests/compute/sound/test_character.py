import numpy as np
import pytest

from app.compute.sound.character import Hum, character_text, find_hum, knocks_per_s

RATE = 48000
TIME = np.arange(10 * RATE) / RATE
NOISE = 0.01 * np.random.default_rng(6).standard_normal(TIME.size)


@pytest.mark.parametrize(("frequency_hz", "mains_hz"), [(100.0, 50.0), (120.0, 60.0), (240.0, 60.0)])
def test_a_hum_is_found_at_its_multiple(frequency_hz, mains_hz):
    hum = find_hum(NOISE + 0.003 * np.sin(2 * np.pi * frequency_hz * TIME), RATE)
    assert (hum.strongest_hz, hum.mains_hz) == (frequency_hz, mains_hz)
    assert hum.heard


def test_noise_alone_does_not_hum():
    assert not find_hum(NOISE, RATE).heard


def test_a_tone_off_the_mains_is_no_hum():
    assert not find_hum(NOISE + 0.01 * np.sin(2 * np.pi * 137 * TIME), RATE).heard


def test_silence_has_no_hum():
    assert not find_hum(np.zeros(TIME.size), RATE).heard


def test_a_pure_tone_on_the_mains_stands_far_out():
    assert find_hum(np.sin(2 * np.pi * 100 * TIME), RATE).stands_out_db > 60


def test_knocks_are_counted():
    knocking = NOISE.copy()
    for second in range(1, 10):
        start = second * RATE
        knocking[start : start + 200] += 0.3 * np.random.default_rng(second).standard_normal(200)
    assert knocks_per_s(knocking, RATE) == pytest.approx(0.9)
    assert knocks_per_s(NOISE, RATE) == 0.0


def test_nothing_knocks_in_nothing():
    assert knocks_per_s(np.zeros(0), RATE) == 0.0


def test_the_words_carry_the_numbers():
    words = character_text(Hum(60.0, 120.0, 14.4), 3.2, 44.0, 39.5)
    assert words == (
        "A hum at 120 Hz, a multiple of the 60 Hz mains, is 14 dB above the adjacent lines.",
        "Knocks or rattle: 3.2 per second are 10 dB above the rest of the clip above 1 kHz.",
        "Unsteady: the level stays within 4.5 dB for four fifths of the time (L10 to L90).",
    )
    calm = character_text(Hum(50.0, 100.0, 2.0), 0.0, 40.4, 39.9)
    assert calm[1:] == (
        "No rattle: nothing above 1 kHz rises by 10 dB.",
        "Steady: the level stays within 0.5 dB for four fifths of the time (L10 to L90).",
    )
