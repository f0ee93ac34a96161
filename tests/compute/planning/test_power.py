"""Power to tell two units apart, against reference libraries and by simulation."""

import math

import numpy as np
import pytest
from statsmodels.stats.power import TTestIndPower

from app.compute.comparison.difference import compare_clearing_times
from app.compute.planning.power import (
    DifferenceToPlan,
    fewest_trials,
    least_difference,
    power_after,
    power_by_trials,
    power_of_difference,
)
from app.compute.planning.trial_variance import TrialVariance
from app.compute.statistics.measured import Measured

NONE = Measured(0.0, 0.0)


@pytest.mark.parametrize(("number", "other"), [(3, 3), (5, 9), (17, 17), (40, 25)])
@pytest.mark.parametrize("effect", [0.0, 0.4, 1.0, 1.5])
def test_the_power_of_a_two_sample_t_test(number: int, other: int, effect: float):
    """Reference: statsmodels' TTestIndPower, the noncentral t for equal variances."""
    expected = TTestIndPower().power(effect, number, 0.05, ratio=other / number)
    found = power_of_difference(effect, 1 / number + 1 / other, known_degrees=0, own_degrees=number + other - 2)
    assert found == pytest.approx(expected, abs=2e-4)


def test_the_number_of_trials_for_a_known_spread():
    """NIST/SEMATECH e-Handbook of Statistical Methods, 7.2.2.2 (from memory): N = (z + z')² σ²/δ²; for the
    difference of two means with equal numbers twice as many each. δ = σ, 5 % two-sided, power 90 %: 21.01, so 22 each.
    """
    each = 2 * (1.959964 + 1.281552) ** 2
    assert each == pytest.approx(21.015, abs=0.001)
    reached = [power_of_difference(1.0, 2 / n, known_degrees=math.inf, own_degrees=0) for n in (21, 22)]
    assert reached[0] < 0.9 <= reached[1]
    exact = power_of_difference(1.0, 2 / each, known_degrees=math.inf, own_degrees=0)
    assert exact == pytest.approx(0.9, abs=1e-6)


def test_the_power_by_simulation_of_means_with_equal_variances():
    """The closed formula against simulated t intervals of this program's own comparison."""
    random = np.random.default_rng(4)
    number, effect, told = 6, 1.6, 0
    for _ in range(3000):
        one, other = random.normal(10.0, 1.0, number), random.normal(10.0 - effect, 1.0, number)
        pooled = math.sqrt((one.var(ddof=1) + other.var(ddof=1)) / 2 / number)
        means = [Measured(float(side.mean()), pooled, 2 * number - 2) for side in (one, other)]
        told += compare_clearing_times(*means, pooled_spread=True).told_apart
    closed = power_of_difference(effect, 2 / number, known_degrees=0, own_degrees=2 * number - 2)
    assert told / 3000 == pytest.approx(closed, abs=0.025)  # three standard errors


def test_knowledge_of_the_spread_adds_power_where_trials_are_few():
    alone = power_of_difference(2.0, 2 / 3, known_degrees=0, own_degrees=4)
    with_bench = power_of_difference(2.0, 2 / 3, known_degrees=40, own_degrees=4)
    known = power_of_difference(2.0, 2 / 3, known_degrees=math.inf, own_degrees=4)
    assert alone < with_bench < known


def test_the_power_averages_over_an_uncertain_spread():
    """Simulated: the true variance drawn from what is known, and estimated by knowledge and trials together."""
    random = np.random.default_rng(5)
    degrees, own, scale, told = 8.0, 6, 0.3, 0
    t = Measured(0.0, 1.0, degrees + own).expanded_uncertainty_95
    for _ in range(20_000):
        true = scale * degrees / random.chisquare(degrees)
        estimate = (degrees * scale + true * random.chisquare(own)) / (degrees + own)
        told += abs(random.normal(1.5, math.sqrt(true))) > t * math.sqrt(estimate)
    found = power_of_difference(1.5, scale, known_degrees=degrees, own_degrees=own)
    assert told / 20_000 == pytest.approx(found, abs=0.01)


def difference(apart: float, natural: Measured = NONE) -> DifferenceToPlan:
    return DifferenceToPlan(TrialVariance(0.04, 12.0, 1), TrialVariance(0.04, 12.0, 3), apart, natural, natural)


def test_the_unit_with_fewer_trials_gets_the_next_ones():
    path = power_by_trials(difference(0.5))
    assert (path[2].first_trials, path[2].second_trials) == (2, 0)
    needed = fewest_trials(path, 0.9)
    assert needed is not None
    assert needed.power >= 0.9 > path[needed.trials - 1].power


def test_units_too_alike_are_never_told_apart_and_the_least_difference_is():
    asked = difference(0.001)
    assert fewest_trials(power_by_trials(asked), 0.9) is None
    least = least_difference(asked, 40, 38, 0.9)
    assert power_after(difference(least), 40, 38).power == pytest.approx(0.9, abs=1e-6)


def test_natural_decay_of_different_weeks_costs_power_until_both_have_new_trials():
    apart = difference(0.6, Measured(0.0, 0.3, 10.0))
    assert power_after(apart, 0, 0).power < power_after(difference(0.6), 0, 0).power
    assert power_after(apart, 4, 6).power == power_after(difference(0.6), 4, 6).power
