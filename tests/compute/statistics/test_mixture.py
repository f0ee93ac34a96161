"""Quantiles of a mixture of normal distributions, and the measured quantity made of it."""

import numpy as np
import pytest
from scipy.stats import norm, t

from app.compute.statistics.mixture import measured_of_mixture, quantile_of_mixture


def test_one_normal_distribution_is_itself():
    """The 97.5 % point of the normal distribution is 1.959964 (NIST/SEMATECH e-Handbook, 1.3.6.7.1)."""
    one = np.array([1.0])
    found = measured_of_mixture(one, np.array([5.0]), np.array([0.3]))
    assert found.value == 5.0
    assert found.uncertainty == pytest.approx(0.3)
    assert found.high_95 == pytest.approx(5.0 + 1.959964 * 0.3)


def test_a_quantile_of_two_parts_by_hand():
    """Far apart, a quarter lies below the upper quartile of neither: half of the lower part."""
    weights, means, deviations = np.array([0.5, 0.5]), np.array([0.0, 100.0]), np.array([1.0, 1.0])
    assert quantile_of_mixture(0.25, weights, means, deviations) == pytest.approx(0.0, abs=1e-9)
    assert quantile_of_mixture(0.75, weights, means, deviations) == pytest.approx(100.0)
    assert quantile_of_mixture(0.1, weights, means, deviations) == pytest.approx(norm.ppf(0.2))


@pytest.mark.parametrize("degrees", [6.0, 12.0, 40.0])
def test_a_fine_mixture_over_inverse_chi_square_variances_is_students_t(degrees):
    """Definition of Student's t, with scipy's quantiles of chi-square and t."""
    from scipy.stats import chi2

    shares = (np.arange(4_000) + 0.5) / 4_000
    deviations = np.sqrt(degrees / chi2.ppf(shares, degrees))
    found = measured_of_mixture(np.full(4_000, 1 / 4_000), np.zeros(4_000), deviations)
    assert found.expanded_uncertainty_95 == pytest.approx(t.ppf(0.975, degrees), rel=2e-3)
    assert found.uncertainty == pytest.approx(1.0, rel=0.06)
