"""Uncertainty of the start level and of the time to clear, compared with simulated runs of known truth."""

import numpy as np
import pytest

from app.compute.decay.analysis import analyse_decay
from app.compute.decay.local_noise import LocalNoise, crossing_uncertainty_min, local_noise
from app.compute.decay.result import ChannelDecay, ClearLevel, Marks

TIME_S = np.arange(0.0, 5400.0, 10.0)
TRUE_MIN = 60 * np.log(396 / 21) / 4  # of 4 + 396 exp(-4 t) down to 25


def runs(correlation: float, relative_noise: float, number: int, clear: ClearLevel) -> list[ChannelDecay]:
    """Runs of one decay with first-order autoregressive noise relative to the level."""
    random = np.random.default_rng(11)
    found = []
    for _ in range(number):
        fresh = random.normal(size=TIME_S.size)
        noise = np.empty_like(fresh)
        noise[0] = fresh[0]
        for i in range(1, fresh.size):
            noise[i] = correlation * noise[i - 1] + np.sqrt(1 - correlation**2) * fresh[i]
        level = np.round((4 + 396 * np.exp(-4 * TIME_S / 3600)) * (1 + relative_noise * noise), 1)
        found.append(
            analyse_decay(TIME_S, level, channel="pm2_5", unit="µg/m³", marks=Marks(unit_on_h=0.0), clear_level=clear)
        )
    return found


@pytest.mark.parametrize("correlation", [0.0, 0.7])
def test_the_spread_of_repeated_runs_is_what_one_run_states(correlation):
    found = runs(correlation, 0.03, 60, ClearLevel("absolute", 25.0))
    times = np.array([run.time_to_clear.value_min for run in found])
    stated = np.median([run.time_to_clear.uncertainty_min for run in found])
    assert 0.7 < stated / times.std(ddof=1) < 1.7
    assert times.mean() == pytest.approx(TRUE_MIN, abs=0.2)
    inside = [abs(run.time_to_clear.value_min - TRUE_MIN) < 1.96 * run.time_to_clear.uncertainty_min for run in found]
    assert np.mean(inside) > 0.85


def test_the_start_level_covers_the_true_one():
    found = runs(0.7, 0.03, 60, ClearLevel("absolute", 25.0))
    inside = [abs(run.start_level - 400) < 2.2 * run.start_level_uncertainty for run in found]
    assert np.mean(inside) > 0.85
    assert np.median([run.start_level_uncertainty for run in found]) < 30


def test_less_noise_gives_less_uncertainty():
    calm, loud = (runs(0.3, noise, 5, ClearLevel("absolute", 25.0)) for noise in (0.005, 0.05))
    assert calm[0].time_to_clear.uncertainty_min < loud[0].time_to_clear.uncertainty_min / 3
    assert calm[0].start_level_uncertainty < loud[0].start_level_uncertainty / 2


def test_a_clear_level_that_rests_on_the_start_takes_its_uncertainty_over():
    """As many µg/m³, but a share of a start level that is itself uncertain."""
    fixed = runs(0.0, 0.03, 1, ClearLevel("absolute", 40.0))[0]
    share = runs(0.0, 0.03, 1, ClearLevel("share_of_start", 40.0 / fixed.start_level))[0]
    assert share.time_to_clear.clear_level == pytest.approx(40.0)
    assert share.time_to_clear.uncertainty_min > fixed.time_to_clear.uncertainty_min


def test_a_run_that_did_not_clear_has_no_time_and_no_uncertainty_of_it():
    clear = runs(0.0, 0.01, 1, ClearLevel("absolute", 1.0))[0].time_to_clear
    assert (clear.reached, clear.uncertainty_min) == (False, None)


def test_too_few_readings_say_nothing_of_their_noise():
    time_h, level = np.arange(6) / 60, np.array([9.0, 8.0, 7.0, 6.0, 5.0, 4.0])
    assert local_noise(time_h, level, level, 0.05, 1.0) is None
    assert local_noise(np.zeros(20), np.ones(20), np.ones(20), 0.0, 1.0) is None


def test_a_level_that_does_not_fall_has_no_uncertain_time():
    assert crossing_uncertainty_min(LocalNoise(1.0, 0.0), 0.0, 0.01) is None
    assert crossing_uncertainty_min(None, 0.0, 0.01) is None


def test_the_step_of_the_display_is_the_least_uncertainty():
    time_h = np.arange(0.0, 0.5, 1 / 360)
    level = np.full(time_h.size, 50.0)
    assert local_noise(time_h, level, level, 0.2, 1.0).uncertainty == pytest.approx(1 / np.sqrt(12))
