"""Learning a logger's noise from its trials."""

import numpy as np
import pytest

from app.compute.decay.analysis import analyse_decay
from app.compute.decay.result import Marks
from app.compute.signal.clipping import lowest_level
from app.compute.signal.logger_noise import GENERIC, GENERIC_TRIALS, learn
from tests.studies.intervals.rate_efficiency import level_s
from tests.studies.physical_room import Sensor, sensor_readings


def test_the_shares_are_where_the_posterior_is_highest():
    """At the maximum of sum log(share · likelihood) + sum(prior counts · log share) on the simplex the gradient is the
    same in every direction, and equals the total of the counts (Lagrange)."""
    evidence = -5 * np.random.default_rng(1).random((12, len(GENERIC.shares)))
    evidence[:, 7] += 3
    shares = np.array(learn(evidence.round(1).tolist()).shares)
    likelihood = np.exp(evidence.round(1))
    gradient = (likelihood / (likelihood @ shares)[:, None]).sum(axis=0)
    gradient += GENERIC_TRIALS * GENERIC.probability / shares
    assert gradient == pytest.approx(12 + GENERIC_TRIALS, rel=0.02)
    assert int(np.argmax(shares)) == 7


def test_without_trials_it_is_generic_and_the_same_trials_give_the_same_digits():
    assert learn([]) == GENERIC
    evidence = [(-1.5,) * (len(GENERIC.shares) - 1) + (0.0,)] * 3
    assert learn(evidence) == learn(list(evidence))
    assert learn(evidence).trials == 3


def _decay(rate_per_h: float, number: int, **known):
    time_s, level, on_s = level_s(rate_per_h)
    sensor = Sensor(interval_s=10.0, averaging_s=10.0, response_s=0.0, memory_s=30.0)
    elapsed_s, readings = sensor_readings(np.random.default_rng([5, number]), time_s, level, sensor)
    marks = Marks(unit_on_h=on_s / 3600)
    return analyse_decay(elapsed_s, readings, channel="pm", unit="µg/m³", marks=marks, **known)


def test_a_logger_whose_noise_is_known_gives_a_narrower_interval_that_still_holds():
    """Simulated: noise of 30 s memory, a unit of 12 per h."""
    learned = learn([_decay(rate, number).noise_evidence for number, rate in enumerate((3.0, 6.0, 3.0, 6.0, 12.0))])
    ratios, held = [], []
    for number in range(20, 28):
        new, known = (_decay(12.0, number, **noise).fit.decay_rate for noise in ({}, {"of_logger": learned}))
        ratios.append(known.expanded_uncertainty_95 / new.expanded_uncertainty_95)
        held.append(known.low_95 <= 12.0 <= known.high_95)
    assert np.median(ratios) < 0.85
    assert sum(held) >= 7


def test_noise_cut_off_at_zero_is_found_and_a_coarse_display_is_not_taken_for_it():
    noise = 0.3 * np.random.default_rng(2).standard_normal(3000)
    level = np.linspace(2.0, 0.1, 3000)
    assert lowest_level(np.maximum(np.round(level + noise, 1), 0.0), 0.1) == pytest.approx(0.05 + 1.5 * 0.3, rel=0.35)
    assert lowest_level(np.round(level, 0), 1.0) == -np.inf
    assert lowest_level(np.round(level + noise, 1) - 0.5, 0.1) == -np.inf  # it can read below zero
