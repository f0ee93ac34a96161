"""Length of runs: the uncertainty expected from one run against what shorter runs of the same kind give."""

import math

import numpy as np
import pytest

from app.compute.decay.analysis import analyse_decay
from app.compute.decay.result import ChannelDecay, Marks
from app.compute.planning.run_length import LENGTHS_MIN, RunSeen, advised_length, parts_by_length
from tests.studies.simulated_trial import BEFORE_SMOKE_MIN, RISE_MIN, Conditions, simulated_trial

ON_MIN = BEFORE_SMOKE_MIN + RISE_MIN


def analysed(conditions: Conditions, minutes: float, seed: int) -> ChannelDecay:
    elapsed_s, levels = simulated_trial(np.random.default_rng(seed), conditions)
    used = elapsed_s <= 60 * (ON_MIN + minutes)
    return analyse_decay(
        elapsed_s[used], levels[used], channel="pm2_5", unit="µg/m³", marks=Marks(unit_on_h=ON_MIN / 60)
    )


@pytest.mark.parametrize("rate", [0.8, 5.0])
def test_shorter_runs_are_as_uncertain_as_expected_from_a_long_one(rate: float):
    """In the median of five runs: a single one whose fit depends on its window has a wider interval than expected."""
    ratios = np.array([_expected_over_found(rate, seed) for seed in range(1, 6)])
    medians = np.median(ratios, axis=0)
    assert np.all((medians > 0.5) & (medians < 2.0))


def _expected_over_found(rate: float, seed: int) -> list[float]:
    """Of runs of 30 and 60 minutes: the uncertainty expected from one of 120 over the one that was found."""
    conditions = Conditions(rate, 10.0, 0.6, 1.0, 120.0, 5.0, before_smoke=True)
    fit = analysed(conditions, 120.0, seed).fit
    assert fit is not None
    assert fit.decay_rate is not None
    assert fit.amplitude is not None
    assert fit.background is not None
    begin_h = fit.window_start_h - ON_MIN / 60
    seen = RunSeen(
        fit.decay_rate.value,
        fit.amplitude.value * math.exp(-fit.decay_rate.value * begin_h),
        fit.background.value,
        60 * (fit.window_end_h - fit.window_start_h),
        60 * fit.window_start_h,
        fit.statistical_uncertainty_per_h,
    )
    expected = np.hypot(*parts_by_length(seen))
    ratios = []
    for minutes in (30, 60):
        shorter = analysed(conditions, minutes, seed).fit
        assert shorter is not None
        assert shorter.decay_rate is not None
        ratios.append(expected[LENGTHS_MIN.index(minutes)] / shorter.decay_rate.uncertainty)
    return ratios


def test_a_longer_run_is_never_less_certain_and_stops_gaining_in_the_end():
    seen = RunSeen(rate_per_h=5.0, amplitude=300.0, background=5.0, length_min=60, before_min=15, noise_per_h=0.05)
    by_length = np.hypot(*parts_by_length(seen))
    assert np.all(np.diff(by_length) < 1e-9)
    assert by_length[-1] == by_length[LENGTHS_MIN.index(150)]  # the excess is gone after 110 min


def test_a_run_that_is_never_precise_enough_is_as_long_as_it_gains():
    seen = RunSeen(rate_per_h=5.0, amplitude=300.0, background=5.0, length_min=60, before_min=15, noise_per_h=0.5)
    found = advised_length(seen, 0.01)
    assert not found.is_enough
    assert found.minutes < LENGTHS_MIN[-1]
