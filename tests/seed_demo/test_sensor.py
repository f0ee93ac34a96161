"""The simulated detector has the faults that it is said to have."""

import numpy as np
import pytest

from seed_demo.sensor import SensorCharacter, answer, growth, wandering_noise, write_down

QUIET = SensorCharacter(1.0, 0.0, 0.0, 25.0, 1e-6, 0.1)


def test_the_noise_has_unit_spread_and_forgets_itself_as_fast_as_it_should():
    """AR(1) with a correlation time of 20 s at 10 s steps: lag-one autocorrelation exp(-0.5) = 0.607."""
    noise = wandering_noise(200_000, 10.0, 20.0, np.random.default_rng(5))
    assert np.std(noise) == pytest.approx(1.0, abs=0.02)
    assert np.corrcoef(noise[1:], noise[:-1])[0, 1] == pytest.approx(np.exp(-0.5), abs=0.01)


def test_a_step_is_answered_to_63_percent_after_one_time_constant():
    step = np.concatenate([np.zeros(100), np.full(400, 50.0)])
    assert answer(step, 1.0, 30.0)[100 + 29] == pytest.approx(50.0 * (1 - np.exp(-1)))


def test_readings_come_in_steps_and_stop_at_saturation():
    rising = np.linspace(0.0, 2000.0, 6000)
    character = SensorCharacter(1.0, 0.02, 0.5, 25.0, 5.0, 1.0, 1000.0)
    readings = write_down(rising, np.full(6000, 45.0), 1.0, 10.0, character, np.random.default_rng(1))
    assert np.array_equal(readings, np.round(readings))
    assert readings.max() == 1000.0
    assert np.sum(readings == 1000.0) > 200


def test_a_reading_is_the_mean_over_its_interval():
    ramp = np.arange(100.0)
    readings = write_down(ramp, np.full(100, 45.0), 1.0, 10.0, QUIET, np.random.default_rng(1))
    assert readings == pytest.approx(np.arange(10) * 10 + 4.5, abs=0.051)


def test_wet_smoke_reads_high_and_a_heated_inlet_does_not_care():
    """Growth in the mass form at 0.24: 1.24 at 50 %, 1.56 at 70 % (0.24 × 0.7/0.3 = 0.56)."""
    assert growth(np.array([50.0, 70.0]), 0.24).tolist() == pytest.approx([1.24, 1.56])
    level, humid = np.full(100, 200.0), np.full(100, 70.0)
    open_inlet = SensorCharacter(1.0, 0.0, 0.0, 25.0, 1e-6, 0.1, None, 0.24, 50.0)
    wet = write_down(level, humid, 1.0, 10.0, open_inlet, np.random.default_rng(1))
    dry = write_down(level, humid, 1.0, 10.0, QUIET, np.random.default_rng(1))
    assert wet[-1] == pytest.approx(200.0 * 1.56 / 1.24, abs=0.05)
    assert dry[-1] == pytest.approx(200.0)
