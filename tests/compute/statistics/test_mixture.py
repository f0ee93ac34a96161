"""Quantiles of a mixture of normal distributions, and the measured quantity made of it."""

import numpy as np
import pytest
from scipy.stats import norm, t

from app.compute.statistics.mixture import measured_of_mixtures, quantiles_of_mixtures


def test_one_normal_distribution_is_itself():
    """The 97.5 % point of the normal distribution is 1.959964 (NIST/SEMATECH e-Handbook, 1.3.6.7.1)."""
    (found,) = measured_of_mixtures(np.array([[1.0]]), np.array([[5.0]]), np.array([[0.3]]))
    assert found.value == 5.0
    assert found.uncertainty == pytest.approx(0.3)
    assert found.high_95 == pytest.approx(5.0 + 1.959964 * 0.3)


def test_a_quantile_of_two_parts_by_hand():
    """Far apart, a quarter lies below the upper quartile of neither: half of the lower part."""
    mixture = np.array([[0.5, 0.5]]), np.array([[0.0, 100.0]]), np.array([[1.0, 1.0]])
    assert quantiles_of_mixtures(0.25, *mixture)[0] == pytest.approx(0.0, abs=1e-9)
    assert quantiles_of_mixtures(0.75, *mixture)[0] == pytest.approx(100.0)
    assert quantiles_of_mixtures(0.1, *mixture)[0] == pytest.approx(norm.ppf(0.2))


def test_a_mixture_has_the_same_quantiles_alone_and_among_others():
    random = np.random.default_rng(4)
    weights = random.dirichlet(np.ones(29), 40)
    means, deviations = random.normal(size=(40, 29)), np.exp(random.normal(size=(40, 29)))
    together = quantiles_of_mixtures(0.975, weights, means, deviations)
    for place in (0, 17, 39):
        one = slice(place, place + 1)
        assert quantiles_of_mixtures(0.975, weights[one], means[one], deviations[one])[0] == together[place]


@pytest.mark.parametrize("degrees", [6.0, 12.0, 40.0])
def test_a_fine_mixture_over_inverse_chi_square_variances_is_students_t(degrees):
    """Definition of Student's t, with scipy's quantiles of chi-square and t."""
    from scipy.stats import chi2

    shares = (np.arange(4_000) + 0.5) / 4_000
    deviations = np.sqrt(degrees / chi2.ppf(shares, degrees))
    (found,) = measured_of_mixtures(np.full((1, 4_000), 1 / 4_000), np.zeros((1, 4_000)), deviations[None])
    assert found.expanded_uncertainty_95 == pytest.approx(t.ppf(0.975, degrees), rel=2e-3)
    assert found.uncertainty == pytest.approx(1.0, rel=0.06)
