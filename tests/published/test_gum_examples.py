"""Worked examples of the Guide to the expression of uncertainty in measurement, JCGM 100:2008.

Standing of the figures: data of H.2 and H.3 and the results of H.3 were read in the documentation of the GTC library
of the Measurement Standards Laboratory of New Zealand; the published results of H.2 and all of G.4 are from memory,
equal at the printed precision to what was recomputed from the data with numpy.
"""

import math

import numpy as np
import pytest

from app.compute.statistics.measured import coverage_factor_95
from app.compute.statistics.propagation import covariance_of_means, effective_degrees_of_freedom, propagate

# H.2: five sets of simultaneous observations of voltage [V], current [A] and phase angle [rad]
VOLTAGE = [5.007, 4.994, 5.005, 4.990, 4.999]
CURRENT = [0.019663, 0.019639, 0.019640, 0.019685, 0.019678]
PHASE = [1.0456, 1.0438, 1.0468, 1.0428, 1.0433]


def resistance_reactance_impedance(x):
    voltage, current, phase = x
    return voltage / current * math.cos(phase), voltage / current * math.sin(phase), voltage / current


def h2_impedance():
    readings = np.array([VOLTAGE, CURRENT, PHASE])
    return propagate(resistance_reactance_impedance, readings.mean(axis=1), covariance_of_means(readings))


def test_the_means_of_joint_readings_have_the_recomputed_covariance():
    """H.2, recomputed from the raw data: standard errors of the means and correlation coefficients."""
    covariance = covariance_of_means([VOLTAGE, CURRENT, PHASE])
    errors = np.sqrt(np.diag(covariance))
    assert errors == pytest.approx([0.003209361307, 9.471008394e-06, 0.0007520638271], rel=1e-8)
    correlation = covariance / np.outer(errors, errors)
    assert correlation[0, 1] == pytest.approx(-0.355311, abs=1e-6)
    assert correlation[0, 2] == pytest.approx(0.857624, abs=1e-6)
    assert correlation[1, 2] == pytest.approx(-0.645111, abs=1e-6)


def test_resistance_and_reactance_have_the_published_joint_uncertainty():
    """H.2, published (from memory) at its printed precision: R, X, Z, their uncertainties and correlations."""
    result = h2_impedance()
    assert result.values == pytest.approx([127.732, 219.847, 254.260], abs=6e-4)
    assert result.uncertainties == pytest.approx([0.071, 0.295, 0.236], abs=6e-4)
    assert result.correlation(0, 1) == pytest.approx(-0.588, abs=6e-4)
    assert result.correlation(0, 2) == pytest.approx(-0.485, abs=6e-4)
    assert result.correlation(1, 2) == pytest.approx(0.993, abs=6e-4)


def test_resistance_and_reactance_equal_the_recomputed_digits():
    """H.2, recomputed from the raw data to nine digits; numerical sensitivities must reach six of them."""
    result = h2_impedance()
    assert result.uncertainties == pytest.approx([0.071071407, 0.295581677, 0.23633613], rel=1e-6)


def test_leaving_the_correlation_out_is_nearly_three_times_wrong():
    """H.2, recomputed from the rounded uncertainties that it prints: without the correlations the uncertainty of the
    resistance is 0.194 instead of 0.071."""
    alone = np.diag(np.square([0.0032, 9.5e-6, 0.00075]))
    result = propagate(resistance_reactance_impedance, [4.999, 0.019661, 1.04446], alone)
    assert result.uncertainties == pytest.approx([0.19411789, 0.200665631, 0.203921438], rel=1e-6)


# H.3: straight line of a thermometer's correction against temperature [°C]
TEMPERATURE = [21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511]
CORRECTION = [-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160]


def test_a_prediction_from_correlated_intercept_and_slope_has_the_published_uncertainty():
    """H.3, read: at 30 °C the correction is -0.1494 °C with 0.0041 °C; without the correlation it would be 0.0073."""
    design = np.column_stack([np.ones(11), np.array(TEMPERATURE) - 20.0])
    best, residual, _, _ = np.linalg.lstsq(design, np.array(CORRECTION), rcond=None)
    covariance = float(residual[0]) / 9 * np.linalg.inv(design.T @ design)
    assert best == pytest.approx([-0.1712, 0.00218], abs=6e-5)

    predicted = propagate(lambda y: y[0] + y[1] * 10.0, best, covariance, sensitivities=[[1.0, 10.0]])
    assert predicted.values[0] == pytest.approx(-0.1494, abs=6e-5)
    assert predicted.uncertainties[0] == pytest.approx(0.0041, abs=6e-5)
    assert predicted.uncertainties[0] == pytest.approx(0.004138595753, rel=1e-8)

    alone = propagate(lambda y: y[0] + y[1] * 10.0, best, np.diag(np.diag(covariance)))
    assert alone.uncertainties[0] == pytest.approx(0.007272880432, rel=1e-6)


def test_the_effective_degrees_of_freedom_are_those_of_the_example():
    """G.4 (from memory): relative uncertainties 0.25, 0.57, 0.82 % on 9, 4, 14 degrees give 1.03 % on 19."""
    parts = [(0.25, 9), (0.57, 4), (0.82, 14)]
    degrees = effective_degrees_of_freedom(parts)
    assert round(degrees, 1) == 19.0
    assert degrees == pytest.approx(18.998742314, rel=1e-9)
    combined = math.hypot(*(u for u, _ in parts))
    assert combined == pytest.approx(1.03, abs=5e-3)
    assert coverage_factor_95(19) == pytest.approx(2.09, abs=5e-3)
    # the example multiplies the rounded figures and prints 2.15; unrounded it is 2.154...
    assert coverage_factor_95(19) * combined == pytest.approx(2.15, abs=6e-3)


def test_propagation_agrees_with_monte_carlo_for_correlated_inputs():
    """Distribution propagated by sampling, after JCGM 101:2008; H.2 with a multivariate normal distribution."""
    readings = np.array([VOLTAGE, CURRENT, PHASE])
    draws = np.random.default_rng(20080101).multivariate_normal(
        readings.mean(axis=1), covariance_of_means(readings), size=200_000
    )
    voltage, current, phase = draws.T
    sampled = np.array([voltage / current * np.cos(phase), voltage / current * np.sin(phase), voltage / current])
    result = h2_impedance()
    assert sampled.mean(axis=1) == pytest.approx(result.values, rel=1e-5)
    assert sampled.std(axis=1) == pytest.approx(result.uncertainties, rel=0.01)
    assert np.corrcoef(sampled)[0, 1] == pytest.approx(result.correlation(0, 1), abs=0.01)
