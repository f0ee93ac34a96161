"""A and C weighting against IEC 61672-1:2013, Table 3.

Standing: A and C columns read in two public transcriptions that agree in all rows (BSD and other licences; the figures
are facts of the standard); class 1 limits read second-hand. The table holds at the exact base-10 frequencies
1000 · 10^(0.1 (n - 30)), not at the nominal labels.
"""

import math

import numpy as np
import pytest

from app.compute.sound.frequency_weighting import response_db, weighted, weighting_db

# nominal frequency [Hz], A [dB], C [dB], class 1 upper limit [dB], class 1 lower limit [dB]
TABLE = [
    (10, -70.4, -14.3, 3.0, -math.inf),
    (12.5, -63.4, -11.2, 2.5, -math.inf),
    (16, -56.7, -8.5, 2.0, -4.0),
    (20, -50.5, -6.2, 2.0, -2.0),
    (25, -44.7, -4.4, 2.0, -1.5),
    (31.5, -39.4, -3.0, 1.5, -1.5),
    (40, -34.6, -2.0, 1.0, -1.0),
    (50, -30.2, -1.3, 1.0, -1.0),
    (63, -26.2, -0.8, 1.0, -1.0),
    (80, -22.5, -0.5, 1.0, -1.0),
    (100, -19.1, -0.3, 1.0, -1.0),
    (125, -16.1, -0.2, 1.0, -1.0),
    (160, -13.4, -0.1, 1.0, -1.0),
    (200, -10.9, 0.0, 1.0, -1.0),
    (250, -8.6, 0.0, 1.0, -1.0),
    (315, -6.6, 0.0, 1.0, -1.0),
    (400, -4.8, 0.0, 1.0, -1.0),
    (500, -3.2, 0.0, 1.0, -1.0),
    (630, -1.9, 0.0, 1.0, -1.0),
    (800, -0.8, 0.0, 1.0, -1.0),
    (1000, 0.0, 0.0, 0.7, -0.7),
    (1250, 0.6, 0.0, 1.0, -1.0),
    (1600, 1.0, -0.1, 1.0, -1.0),
    (2000, 1.2, -0.2, 1.0, -1.0),
    (2500, 1.3, -0.3, 1.0, -1.0),
    (3150, 1.2, -0.5, 1.0, -1.0),
    (4000, 1.0, -0.8, 1.0, -1.0),
    (5000, 0.5, -1.3, 1.5, -1.5),
    (6300, -0.1, -2.0, 1.5, -2.0),
    (8000, -1.1, -3.0, 1.5, -2.5),
    (10000, -2.5, -4.4, 2.0, -3.0),
    (12500, -4.3, -6.2, 2.0, -5.0),
    (16000, -6.6, -8.5, 2.5, -16.0),
    (20000, -9.3, -11.2, 3.0, -math.inf),
]
exact_hz = np.array([1000 * 10 ** (0.1 * (n - 30)) for n in range(10, 44)])
RATES_HZ = [44100, 48000, 96000, 192000]


def column(weighting):
    return np.array([row[1] if weighting == "A" else row[2] for row in TABLE])


def limits():
    return np.array([row[4] for row in TABLE]), np.array([row[3] for row in TABLE])


def test_the_exact_frequencies_belong_to_the_nominal_ones():
    assert exact_hz == pytest.approx([row[0] for row in TABLE], rel=0.02)


@pytest.mark.parametrize("weighting", ["A", "C"])
def test_the_formula_gives_every_printed_value(weighting):
    assert np.round(weighting_db(exact_hz, weighting), 1).tolist() == pytest.approx(
        column(weighting).tolist(), abs=1e-9
    )


@pytest.mark.parametrize("sample_rate_hz", RATES_HZ)
@pytest.mark.parametrize("weighting", ["A", "C"])
def test_the_filter_stays_within_class_1_over_the_whole_table(weighting, sample_rate_hz):
    deviation = response_db(exact_hz, sample_rate_hz, weighting) - column(weighting)
    low, high = limits()
    assert np.all(deviation >= low)
    assert np.all(deviation <= high)
    # far inside: 0.05 dB of it is the rounding of the table
    assert np.abs(deviation).max() < 0.07


@pytest.mark.parametrize("sample_rate_hz", [8000, 16000, 22050, 32000])
@pytest.mark.parametrize("weighting", ["A", "C"])
def test_a_low_sampling_rate_stays_within_class_1_up_to_half_of_it(weighting, sample_rate_hz):
    below_half = exact_hz < sample_rate_hz / 2
    deviation = response_db(exact_hz[below_half], sample_rate_hz, weighting) - column(weighting)[below_half]
    low, high = limits()
    assert np.all(deviation >= low[below_half])
    assert np.all(deviation <= high[below_half])


@pytest.mark.parametrize("weighting", ["A", "C"])
def test_tones_sent_through_the_filter_stay_within_class_1(weighting):
    """The same with samples instead of the transfer function: a tone of 2 s at each frequency, its middle measured."""
    sample_rate_hz = 48000
    time_s = np.arange(2 * sample_rate_hz) / sample_rate_hz
    middle = slice(sample_rate_hz // 2, -sample_rate_hz // 2)
    for frequency_hz, wanted, low, high in zip(exact_hz, column(weighting), *limits(), strict=True):
        tone = np.sin(2 * math.pi * frequency_hz * time_s)
        through = weighted(tone, sample_rate_hz, weighting)[middle]
        deviation = 10 * np.log10(np.mean(through**2) / np.mean(tone[middle] ** 2)) - wanted
        assert low <= deviation <= high
        assert abs(deviation) < 0.3
