"""Median of few log-normal times, against lifelines where the two must agree."""

import numpy as np
import pandas as pd
import pytest
from lifelines import LogNormalAFTFitter, LogNormalFitter
from scipy.optimize import minimize
from scipy.stats import t as student

from app.compute.statistics.log_normal_times import RepeatedTimes, log_likelihood, median_of_times
from app.compute.statistics.repeatability import Repeatability

WIDE = Repeatability(0.3, 4.01, 0, 0, "says little")


def censored_sample(number: int, seed: int = 11) -> tuple[np.ndarray, np.ndarray]:
    random = np.random.default_rng(seed)
    times, ends = 30 * np.exp(0.2 * random.normal(size=number)), random.uniform(20, 60, number)
    return np.minimum(times, ends), times <= ends


def repeated(times, reached, own=0.0) -> RepeatedTimes:
    return RepeatedTimes(np.log(times), np.full(len(times), own), np.array(reached, dtype=bool))


def test_the_likelihood_has_the_value_and_the_maximum_of_lifelines():
    """lifelines 0.30, LogNormalFitter: the same likelihood apart from the factor 1/t of the density of a seen time."""
    times, reached = censored_sample(60)
    reference = LogNormalFitter().fit(times, reached)
    data = repeated(times, reached)

    def value(parameters):
        return float(log_likelihood(data, parameters[:1], np.exp(parameters[1:]))[0, 0])

    best = minimize(lambda p: -value(p), [3.0, -1.5], method="Nelder-Mead", options={"xatol": 1e-9, "fatol": 1e-12}).x
    assert best[0] == pytest.approx(reference.mu_, abs=1e-4)
    assert np.exp(best[1]) == pytest.approx(reference.sigma_, rel=1e-3)
    density_of_times = float(np.log(times[reached]).sum())
    assert value(best) - density_of_times == pytest.approx(reference.log_likelihood_, abs=1e-4)


def test_with_many_times_the_interval_is_that_of_the_accelerated_failure_time_model():
    """lifelines 0.30, LogNormalAFTFitter with an intercept alone; with 400 times the prior counts for nothing."""
    times, reached = censored_sample(400)
    frame = pd.DataFrame({"time": times, "reached": reached})
    reference = LogNormalAFTFitter().fit(frame, "time", "reached")
    middle = reference.params_["mu_", "Intercept"]
    error = reference.standard_errors_["mu_", "Intercept"]
    found = np.log(median_of_times(repeated(times, reached), WIDE))
    assert found[0] == pytest.approx(middle, abs=0.1 * error)
    # the normal interval of a maximum of likelihood leaves the skew out, 0.1 of a standard error here
    assert found[1:] == pytest.approx([middle - 1.96 * error, middle + 1.96 * error], abs=0.15 * error)


def test_without_censoring_grid_and_closed_form_agree():
    """A time censored at a moment that all others passed long before adds nothing, but takes the way over the grid."""
    times = np.array([28.0, 33.0, 30.0])
    closed = median_of_times(repeated(times, [True] * 3, 0.02), WIDE)
    on_grid = median_of_times(repeated([*times, 0.5], [True, True, True, False], 0.02), WIDE)
    assert on_grid == pytest.approx(closed, rel=2e-3)


@pytest.mark.parametrize("degrees", [5.0, 20.0])
def test_one_time_has_the_t_interval_of_the_assumed_spread(degrees):
    """By definition: a normal quantity whose variance is scaled inverse chi-square."""
    spread = Repeatability(0.06, degrees, 0, 0, "assumed")
    middle, low, high = median_of_times(repeated([30.0], [True]), spread)
    scale = 0.06 * np.sqrt((degrees - 2) / degrees)
    assert middle == pytest.approx(30.0)
    assert np.log(high / 30.0) == pytest.approx(student.ppf(0.975, degrees) * scale, rel=0.01)
    assert np.log(30.0 / low) == pytest.approx(np.log(high / 30.0), rel=1e-6)


def test_the_uncertainty_of_each_time_counts_and_so_does_its_weight():
    spread = Repeatability(0.05, 1e5, 0, 0, "given")
    times = RepeatedTimes(np.log([30.0, 40.0]), np.array([0.01, 0.30]), np.array([True, True]))
    middle, low, high = median_of_times(times, spread)
    assert 30.0 < middle < 31.0
    assert np.log(high / low) == pytest.approx(2 * 1.96 / np.sqrt(1 / 0.0026 + 1 / 0.0925), rel=0.01)


def test_a_run_that_ended_above_the_clear_level_raises_the_median():
    spread = Repeatability(0.1, 8.0, 0, 0, "assumed")
    seen = median_of_times(repeated([30.0, 33.0], [True, True]), spread)
    with_censored = median_of_times(repeated([30.0, 33.0, 40.0], [True, True, False]), spread)
    assert with_censored[0] > seen[0]
    assert with_censored[2] > seen[2]
