"""Propagation of uncertainty: what it refuses, and the bounds of the degrees of freedom."""

import math

import numpy as np
import pytest

from app.compute.statistics.propagation import covariance_of_means, effective_degrees_of_freedom, propagate


def test_given_and_numerical_sensitivities_agree():
    def model(x):
        return [x[0] * x[1], x[0] / x[1]]

    covariance = [[0.04, 0.01], [0.01, 0.09]]
    numerical = propagate(model, [3.0, 5.0], covariance)
    given = propagate(model, [3.0, 5.0], covariance, sensitivities=[[5.0, 3.0], [1 / 5, -3 / 25]])
    assert numerical.uncertainties == pytest.approx(given.uncertainties, rel=1e-7)
    assert numerical.covariance[0] == pytest.approx(given.covariance[0], rel=1e-7)
    assert given.uncertainties[0] == pytest.approx(math.sqrt(25 * 0.04 + 9 * 0.09 + 2 * 15 * 0.01))


def test_a_shared_input_cancels_in_a_difference():
    covariance = [[1.0, 1.0], [1.0, 1.0]]
    assert propagate(lambda x: x[0] - x[1], [5.0, 3.0], covariance).uncertainties[0] == pytest.approx(0.0, abs=1e-7)


def test_an_input_of_zero_with_no_uncertainty_still_has_a_sensitivity():
    assert propagate(lambda x: 2 * x[0], [0.0], [[0.0]]).sensitivities[0][0] == pytest.approx(2.0)


def test_the_correlation_with_an_exact_output_is_zero():
    result = propagate(lambda x: [x[0], x[1]], [1.0, 2.0], [[0.0, 0.0], [0.0, 1.0]])
    assert result.correlation(0, 1) == 0.0


@pytest.mark.parametrize(
    ("covariance", "message"),
    [
        ([[1.0]], r"^The covariance has shape \(1, 1\) and there are 2 inputs; it needs 2 rows and 2 columns\.$"),
        ([[1.0, 0.2], [0.1, 1.0]], r"^The covariance is not symmetric; the entry for \(a, b\) must equal"),
        ([[-1.0, 0.0], [0.0, 1.0]], r"^The covariance holds the variance -1\.0; variances must be zero or above\.$"),
    ],
)
def test_a_covariance_that_cannot_be_one_is_refused(covariance, message):
    with pytest.raises(ValueError, match=message):
        propagate(lambda x: x[0], [1.0, 2.0], covariance)


def test_sensitivities_of_another_size_are_refused():
    message = r"^The sensitivities have shape \(1, 3\); 1 outputs and 2 inputs need 1 rows and 2 columns\.$"
    with pytest.raises(ValueError, match=message):
        propagate(lambda x: x[0], [1.0, 2.0], np.eye(2), sensitivities=[[1.0, 0.0, 0.0]])


def test_one_joint_reading_has_no_covariance():
    with pytest.raises(ValueError, match=r"^A covariance of means needs 2 joint readings and found 1\.$"):
        covariance_of_means([[1.0], [2.0]])


def test_degrees_of_freedom_lie_between_the_smallest_and_the_sum():
    parts = [(1.0, 3.0), (1.0, 8.0), (0.5, 5.0)]
    assert 3.0 < effective_degrees_of_freedom(parts) < 16.0


def test_parts_without_scatter_have_infinite_degrees_of_freedom():
    assert math.isinf(effective_degrees_of_freedom([(0.0, 2.0), (1.0, math.inf)]))
    assert math.isinf(effective_degrees_of_freedom([]))


def test_parts_that_cannot_be_are_refused():
    with pytest.raises(ValueError, match=r"^A part of the uncertainty is -1\.0; it must be zero or above\.$"):
        effective_degrees_of_freedom([(-1.0, 3.0)])
    with pytest.raises(ValueError, match=r"^A part has 0\.0 degrees of freedom; it needs more than zero\.$"):
        effective_degrees_of_freedom([(1.0, 0.0)])
