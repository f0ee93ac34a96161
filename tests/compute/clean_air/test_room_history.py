"""The local level model of a room against the Kalman smoother of statsmodels."""

import numpy as np
import pytest
from statsmodels.tsa.statespace.structural import UnobservedComponents

from app.compute.clean_air.room_history import DAYS_OF_DRIFT, RoomHistory, restricted_likelihood
from app.compute.statistics.measured import Measured
from app.compute.statistics.repeatability import Repeatability

RATES = np.array([0.50, 0.55, 0.47, 0.58, 0.61, 0.57, 0.66, 0.63])
DAYS = np.array([0.0, 1.0, 2.0, 5.0, 6.0, 9.0, 12.0, 13.0])
FIT = 0.02


def reference(spread: float, drift: float, days: int = 31):
    """statsmodels 0.14: local level, one step a day, days without a run missing, exact diffuse first level."""
    series = np.full(days, np.nan)
    series[DAYS.astype(int)] = RATES
    model = UnobservedComponents(series, "llevel", use_exact_diffuse=True)
    return model.smooth([FIT**2 + spread**2, drift**2 / DAYS_OF_DRIFT])


def test_the_restricted_likelihood_differs_by_a_constant_from_the_exact_diffuse_one():
    """The constant depends on the number of runs alone, so differences between parameters are equal."""
    pairs = [(0.02, 0.05), (0.05, 0.02), (0.03, 0.2), (0.10, 0.10), (0.005, 0.01)]
    spreads, drifts = np.array(pairs).T
    ours, _ = restricted_likelihood(DAYS, RATES, np.full(8, FIT**2), spreads, drifts)
    theirs = np.array([reference(*pair).llf for pair in pairs])
    assert ours - ours[0] == pytest.approx(theirs - theirs[0], abs=1e-6)


@pytest.mark.parametrize("day", [0, 3, 6, 11, 13, 30])
def test_level_and_standard_error_are_those_of_the_smoother(day):
    """Given one spread and one drift: on days with a run, between runs, and after the last one."""
    known = RoomHistory.of(
        range(8), DAYS, [Measured(float(k), FIT) for k in RATES], Repeatability(0.1, 8.0, 0, 0, "any")
    )
    for place in (0, known.likely.size // 2, known.likely.size - 1):
        smoothed = reference(float(known.spreads[place]), float(known.drifts[place]))
        level = known.on(float(day))
        assert level.means[place] == pytest.approx(smoothed.smoothed_state[0, day], rel=1e-6)
        assert level.deviations[place] ** 2 == pytest.approx(smoothed.smoothed_state_cov[0, 0, day], rel=1e-5)


def test_a_day_before_the_first_run_mirrors_a_day_after_the_last():
    rates = [Measured(float(k), FIT) for k in RATES]
    spread = Repeatability(0.1, 8.0, 0, 0, "any")
    forward = RoomHistory.of(range(8), DAYS, rates, spread).on(20.0)
    backward = RoomHistory.of(range(8), 13.0 - DAYS[::-1], rates[::-1], spread).on(-7.0)
    assert forward.means == pytest.approx(backward.means)
    assert forward.deviations == pytest.approx(backward.deviations)


def test_the_weights_of_the_runs_add_up_to_one_and_favour_the_near_ones():
    rates = [Measured(float(k), FIT) for k in RATES]
    level = RoomHistory.of(range(8), DAYS, rates, Repeatability(0.1, 8.0, 0, 0, "any")).on(13.0)
    assert sum(level.weights) == pytest.approx(1.0)
    assert level.weights[-1] > level.weights[0]
