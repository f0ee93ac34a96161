import numpy as np
import pytest

from app.compute.sound.frequency_weighting import response_db, weighted, weighting_db


def test_without_weighting_nothing_changes():
    samples = np.random.default_rng(1).standard_normal(1000)
    assert np.array_equal(weighted(samples, 48000, "Z"), samples)
    assert weighting_db([10.0, 1000.0], "Z").tolist() == [0.0, 0.0]
    assert response_db([10.0, 1000.0], 48000, "Z").tolist() == [0.0, 0.0]


def test_the_length_and_the_scale_are_kept():
    samples = np.random.default_rng(2).standard_normal(48000)
    through = weighted(samples, 48000, "A")
    assert through.shape == samples.shape
    assert np.allclose(weighted(3 * samples, 48000, "A"), 3 * through)


def test_a_click_stays_where_it_was():
    samples = np.zeros(48000)
    samples[24000] = 1.0
    assert abs(int(np.argmax(np.abs(weighted(samples, 48000, "A")))) - 24000) <= 2


@pytest.mark.parametrize("weight", [weighting_db, lambda f, w: response_db(f, 48000, w)])
def test_an_unknown_weighting_is_refused(weight):
    with pytest.raises(ValueError, match="weighting 'B' is not known; choose A, C or Z"):
        weight([1000.0], "B")


def test_a_low_sampling_rate_is_refused():
    with pytest.raises(ValueError, match="sampling rate is 4000 Hz; frequency weighting needs 8000 Hz or more"):
        weighted(np.zeros(100), 4000, "A")
