"""The local level model of a room against the Kalman smoother of statsmodels."""

import numpy as np
import pytest
from statsmodels.tsa.statespace.structural import UnobservedComponents

from app.compute.clean_air.room_history import (
    DAYS_OF_DRIFT,
    RunsOfRooms,
    levels_on_days,
    restricted_log_likelihood,
)
from app.compute.statistics.repeatability import Repeatability

RATES = np.array([0.50, 0.55, 0.47, 0.58, 0.61, 0.57, 0.66, 0.63])
DAYS = np.array([0.0, 1.0, 2.0, 5.0, 6.0, 9.0, 12.0, 13.0])
FIT = 0.02
ANY = Repeatability(0.1, 8.0, 0, 0, "any")


def levels(at: list[float], days: np.ndarray = DAYS, rates: np.ndarray = RATES):
    number = len(at)
    runs = RunsOfRooms(np.tile(days, (number, 1)), np.tile(rates, (number, 1)), np.full((number, 8), FIT**2))
    return levels_on_days(np.array(at), runs, [ANY] * number)


def reference(spread: float, drift: float, days: int = 31):
    """statsmodels 0.14: local level, one step a day, days without a run missing, exact diffuse first level."""
    series = np.full(days, np.nan)
    series[DAYS.astype(int)] = RATES
    model = UnobservedComponents(series, "llevel", use_exact_diffuse=True)
    return model.smooth([FIT**2 + spread**2, drift**2 / DAYS_OF_DRIFT])


def test_the_restricted_likelihood_differs_by_a_constant_from_the_exact_diffuse_one():
    """The constant depends on the number of runs alone, so differences between parameters are equal."""
    pairs = [(0.02, 0.05), (0.05, 0.02), (0.03, 0.2), (0.10, 0.10), (0.005, 0.01)]
    spreads, drifts = np.array(pairs).T[:, None]
    runs = RunsOfRooms(DAYS[None], RATES[None], np.full((1, 8), FIT**2))
    (ours,) = restricted_log_likelihood(runs, spreads, drifts)
    theirs = np.array([reference(*pair).llf for pair in pairs])
    assert ours - ours[0] == pytest.approx(theirs - theirs[0], abs=1e-6)


@pytest.mark.parametrize("day", [0, 3, 6, 11, 13, 30])
def test_level_and_standard_error_are_those_of_the_smoother(day):
    """Given one spread and one drift: on days with a run, between runs, and after the last one."""
    found = levels([float(day)])
    for place in (1, 200, found.likely.shape[1] - 1):
        smoothed = reference(float(found.spreads[0, place]), float(found.drifts[0, place]))
        assert found.means[0, place] == pytest.approx(smoothed.smoothed_state[0, day], rel=1e-6)
        assert found.deviations[0, place] ** 2 == pytest.approx(smoothed.smoothed_state_cov[0, 0, day], rel=1e-5)


def test_a_day_before_the_first_run_mirrors_a_day_after_the_last():
    forward, backward = levels([20.0]), levels([-7.0], 13.0 - DAYS[::-1], RATES[::-1])
    assert forward.means == pytest.approx(backward.means)
    assert forward.deviations == pytest.approx(backward.deviations)


def test_the_weights_of_the_runs_add_up_to_one_and_favour_the_near_ones():
    found = levels([13.0, 6.0, -2.0])
    assert found.weights.sum(axis=1) == pytest.approx(1.0)
    assert found.weights[0, -1] > found.weights[0, 0]
    assert found.weights[2, 0] > found.weights[2, -1]
    # the mean is the weighted mean of the runs
    assert (found.likely * found.means).sum(axis=1) == pytest.approx(found.weights @ RATES)


def test_a_day_has_the_same_digits_alone_and_among_others():
    asked = [-3.0, 0.0, 2.5, 6.0, 13.0, 40.0]
    together = levels(asked)
    for place, day in enumerate(asked):
        alone = levels([day])
        for name in ("likely", "means", "deviations", "weights"):
            assert (getattr(alone, name)[0] == getattr(together, name)[place]).all()
