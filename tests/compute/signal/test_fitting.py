"""Least squares: limits, messages, and results without a solution."""

import math

import numpy as np
import pytest

from app.compute.signal.fitting import fit_least_squares, fit_linear, scaled_inverse


def line(x, a, b):
    return a + b * x


def test_weights_follow_the_variance():
    x = np.array([0.0, 1.0, 2.0, 3.0])
    fit = fit_linear(np.column_stack([np.ones(4), x]), [0.0, 1.0, 2.0, 9.0], weights=[1, 1, 1, 1e-9])
    assert fit.best == pytest.approx([0.0, 1.0], abs=1e-6)


def test_linear_and_nonlinear_agree_on_a_line():
    x, y = np.arange(6.0), [1.0, 2.9, 5.2, 6.8, 9.1, 11.2]
    linear = fit_linear(np.column_stack([np.ones(6), x]), y)
    searched = fit_least_squares(line, x, y, start=[0.0, 0.0])
    assert searched.best == pytest.approx(linear.best, rel=1e-8)
    assert searched.standard_errors == pytest.approx(linear.standard_errors, rel=1e-6)
    assert searched.covariance == pytest.approx(linear.covariance, rel=1e-6)


def test_without_degrees_of_freedom_there_is_no_standard_error():
    fit = fit_linear([[1.0, 0.0], [1.0, 1.0]], [1.0, 2.0])
    assert fit.degrees_of_freedom == 0
    assert math.isnan(fit.residual_sd)
    assert np.isnan(fit.standard_errors).all()


def test_a_search_that_runs_off_says_which_parameter_is_not_fixed():
    """NIST StRD BoxBOD from its first start values, known to lead many searches away (read)."""
    x, y = np.array([1, 2, 3, 5, 7, 10.0]), np.array([109, 149, 149, 191, 213, 224.0])
    fit = fit_least_squares(lambda x, a, k: a * (1 - np.exp(-k * x)), x, y, start=[1.0, 1.0])
    assert fit.fit_converged or "do not determine parameter 2" in fit.why_not


def test_a_parameter_that_the_model_does_not_use_is_named():
    fit = fit_least_squares(lambda x, a, b: a + 0 * x, np.arange(4.0), [1.0, 2.0, 1.0, 2.0], start=[0.5, 3.0])
    assert not fit.fit_converged
    assert fit.why_not == "The values do not determine parameter 2 near 3. Start closer to the solution."


def test_a_model_without_a_number_at_the_start_says_so():
    fit = fit_least_squares(lambda x, a: a / (x - x), np.arange(3.0), [1.0, 2.0, 3.0], start=[1.0])
    assert not fit.fit_converged
    assert "The model gives no number at the start values [1.0]. Choose others." in fit.why_not


def test_wrong_arguments_are_refused_with_what_was_found():
    with pytest.raises(ValueError, match="The design has 2 rows for 3 values; one row each is needed"):
        fit_linear([[1.0], [2.0]], [1.0, 2.0, 3.0])
    with pytest.raises(ValueError, match="2 parameters need at least as many values; there are 1"):
        fit_linear([[1.0, 2.0]], [1.0])
    with pytest.raises(ValueError, match="There are 1 weights for 2 values; each value needs one"):
        fit_linear([[1.0], [2.0]], [1.0, 2.0], weights=[1.0])
    with pytest.raises(ValueError, match="A value of the fit is not a number; exclude such readings first"):
        fit_linear([[1.0], [2.0]], [1.0, math.nan])
    with pytest.raises(ValueError, match="A weight is negative or not a number"):
        fit_linear([[1.0], [2.0]], [1.0, 2.0], weights=[1.0, -1.0])
    with pytest.raises(ValueError, match="The 2 columns of the design depend on one another"):
        fit_linear([[1.0, 2.0], [2.0, 4.0], [3.0, 6.0]], [1.0, 2.0, 3.0])
    with pytest.raises(ValueError, match=r"The start values are \[nan\]; one number for each parameter is needed"):
        fit_least_squares(lambda x, a: a * x, [1.0, 2.0], [1.0, 2.0], start=[math.nan])


def test_the_inverse_of_badly_scaled_sums_is_right():
    matrix = np.array([[1e12, 1e3], [1e3, 1e-4]])
    assert scaled_inverse(matrix) @ matrix == pytest.approx(np.eye(2), abs=1e-5)
