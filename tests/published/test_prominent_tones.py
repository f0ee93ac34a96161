"""Prominence ratio of ECMA-418-1:2024. Standing: the worked figures of clauses 10 and 12.2 and the criteria of formulas
25 and 26 read second-hand, in the tests of a public library that transcribe them; the ratio of a tone in white noise
recomputed from the band widths."""

import math

import numpy as np
import pytest

from app.compute.sound.prominent_tones import (
    criterion_db,
    critical_band_hz,
    find_tones,
    neighbour_edges_hz,
    prominence_of,
)
from app.compute.sound.spectrum import power_spectrum

RATE = 48000
TIME = np.arange(16 * RATE) / RATE


def tone_in_noise(frequency_hz, tone_rms, noise_rms, seed=1):
    noise = noise_rms * np.random.default_rng(seed).standard_normal(TIME.size)
    return math.sqrt(2) * tone_rms * np.sin(2 * np.pi * frequency_hz * TIME) + noise


def test_critical_bands_of_the_worked_examples():
    """Clause 10: 162.2 Hz wide at 1 kHz, 117.3 Hz at 500 Hz; clause 12.2: 922.2 Hz to 1084.4 Hz around 1 kHz."""
    low, high = critical_band_hz(1000.0)
    assert [round(low, 1), round(high, 1), round(high - low, 1)] == [922.2, 1084.4, 162.2]
    low, high = critical_band_hz(500.0)
    assert round(high - low, 1) == 117.3


def test_criteria():
    """Formulas 25 and 26: 9.0 dB from 1 kHz on, 9.0 + 10 lg(1000/f) dB below."""
    assert criterion_db(1000.0) == criterion_db(5000.0) == 9.0
    assert criterion_db(200.0) == pytest.approx(9.0 + 10 * math.log10(5))


def test_a_tone_in_white_noise_has_the_ratio_of_powers():
    """In noise of density N each band holds N times its width."""
    tone_rms, noise_rms = 0.01, 0.05
    density = noise_rms**2 / (RATE / 2)
    low, high = critical_band_hz(1000.0)
    lowest, highest = neighbour_edges_hz(1000.0)
    expected = 10 * math.log10(
        (tone_rms**2 + density * (high - low)) / (density * ((low - lowest) + (highest - high)) / 2)
    )
    spectrum = power_spectrum(tone_in_noise(1000.0, tone_rms, noise_rms), RATE)
    assert prominence_of(spectrum, 1000.0).prominence_ratio_db == pytest.approx(expected, abs=0.15)


def test_a_low_tone_uses_the_lower_band_scaled_to_100_hz():
    """Below 171.4 Hz the lower band begins at 20 Hz; in white noise the scaling gives the power of 100 Hz."""
    noise = 0.05 * np.random.default_rng(2).standard_normal(TIME.size)
    found = prominence_of(power_spectrum(noise, RATE), 120.0)
    low, high = critical_band_hz(120.0)
    above = neighbour_edges_hz(120.0)[1] - high
    assert found.prominence_ratio_db == pytest.approx(10 * math.log10((high - low) / ((100 + above) / 2)), abs=0.6)


def test_loud_tones_are_prominent_and_noise_has_none():
    assert [round(t.frequency_hz) for t in find_tones(tone_in_noise(3000.0, 0.3, 0.02), RATE) if t.prominent] == [3000]
    assert [round(t.frequency_hz) for t in find_tones(tone_in_noise(120.0, 0.3, 0.02), RATE) if t.prominent] == [120]
    for seed in range(5):
        noise = np.random.default_rng(seed).standard_normal(TIME.size)
        assert not any(tone.prominent for tone in find_tones(noise, RATE))


def test_the_most_prominent_tone_comes_first():
    two = tone_in_noise(500.0, 0.05, 0.02) + tone_in_noise(2500.0, 0.3, 0.0)
    assert [round(tone.frequency_hz) for tone in find_tones(two, RATE)][:2] == [2500, 500]
