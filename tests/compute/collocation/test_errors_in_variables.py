"""Lines with errors in both coordinates, against published data and a reference library."""

import warnings

import numpy as np
import pytest

from app.compute.collocation.errors_in_variables import calibration_line, noise_model, york_line

# Pearson's data (1901) with York's weights (1966): inverse squares of the uncertainties. From memory.
PEARSON_X = np.array([0.0, 0.9, 1.8, 2.6, 3.3, 4.4, 5.2, 6.1, 6.5, 7.4])
WEIGHT_X = np.array([1000.0, 1000.0, 500.0, 800.0, 200.0, 80.0, 60.0, 20.0, 1.8, 1.0])
PEARSON_Y = np.array([5.9, 5.4, 4.4, 4.6, 3.5, 3.7, 2.8, 2.8, 2.4, 1.5])
WEIGHT_Y = np.array([1.0, 1.8, 4.0, 8.0, 20.0, 20.0, 70.0, 70.0, 100.0, 500.0])


def test_pearsons_data_with_yorks_weights_give_the_published_line():
    """York and others, American Journal of Physics 72, 2004: values from memory."""
    line = york_line(PEARSON_X, PEARSON_Y, WEIGHT_X**-0.5, WEIGHT_Y**-0.5)
    assert line.converged
    assert line.slope == pytest.approx(-0.480533407, abs=5e-9)
    assert line.intercept == pytest.approx(5.47991022, abs=5e-8)
    assert line.slope_error == pytest.approx(0.0579850, abs=5e-7)
    assert line.intercept_error == pytest.approx(0.294971, abs=5e-6)
    assert line.scale**2 == pytest.approx(1.4833, abs=5e-4)


def test_line_and_errors_agree_with_scipys_orthogonal_distance_regression():
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DeprecationWarning)  # scipy.odr leaves scipy; it is the reference here only
        from scipy import odr

        data = odr.RealData(PEARSON_X, PEARSON_Y, sx=WEIGHT_X**-0.5, sy=WEIGHT_Y**-0.5)
        fit = odr.ODR(data, odr.unilinear, beta0=[-0.5, 5.0]).run()
    line = york_line(PEARSON_X, PEARSON_Y, WEIGHT_X**-0.5, WEIGHT_Y**-0.5)
    assert [line.slope, line.intercept] == pytest.approx(list(fit.beta), rel=1e-6)
    assert line.scale**2 == pytest.approx(fit.res_var, rel=1e-6)
    # the library's own covariance is unscaled; it linearises at the measured points, not at the adjusted ones
    assert [line.slope_error, line.intercept_error] == pytest.approx(list(np.sqrt(np.diag(fit.cov_beta))), rel=0.02)


def test_with_equal_errors_the_line_is_demings():
    """Closed form of W. E. Deming, 1943, for a ratio of variances of one; from memory."""
    random = np.random.default_rng(4)
    true = random.uniform(0, 50, 80)
    x, y = true + random.normal(0, 2, 80), 3 + 1.4 * true + random.normal(0, 2, 80)
    (xx, xy), (_, yy) = np.cov(x, y)
    slope = (yy - xx + np.sqrt((yy - xx) ** 2 + 4 * xy**2)) / (2 * xy)
    line = york_line(x, y, np.full(80, 2.0), np.full(80, 2.0))
    assert [line.slope, line.intercept] == pytest.approx([slope, y.mean() - slope * x.mean()], rel=1e-9)


def test_exchanging_both_loggers_inverts_the_line():
    line = york_line(PEARSON_X, PEARSON_Y, WEIGHT_X**-0.5, WEIGHT_Y**-0.5)
    turned = york_line(PEARSON_Y, PEARSON_X, WEIGHT_Y**-0.5, WEIGHT_X**-0.5)
    assert turned.slope == pytest.approx(1 / line.slope, rel=1e-9)


@pytest.mark.parametrize(
    ("points", "uncertainty", "words"), [(2, 1.0, "needs 3 points; found 2"), (3, 0.0, "uncertainty of a coordinate")]
)
def test_a_line_that_is_not_determined_is_refused(points: int, uncertainty: float, words: str):
    x = np.arange(float(points))
    with pytest.raises(ValueError, match=words):
        york_line(x, x, np.full(points, uncertainty), np.full(points, uncertainty))


def test_the_noise_model_finds_a_constant_and_a_proportional_part():
    random = np.random.default_rng(5)
    level = np.linspace(400.0, 5.0, 4000)
    found = noise_model(level + np.hypot(0.5, 0.03 * level) * random.standard_normal(4000))
    assert found[0] == pytest.approx(12.0, rel=0.1)
    assert found[-1] == pytest.approx(0.5, rel=0.5)


def test_intervals_of_slope_intercept_and_curve_hold_their_value_in_95_of_100():
    """Simulated: both loggers have noise, slope 1.2, intercept 3, no curvature."""
    random = np.random.default_rng(6)
    true = 300 * np.exp(-np.linspace(0.0, 4.0, 60))
    held = np.zeros(3)
    for _ in range(200):
        x = true * (1 + 0.02 * random.standard_normal(60)) + 0.5 * random.standard_normal(60)
        y = (3 + 1.2 * true) * (1 + 0.02 * random.standard_normal(60)) + 0.5 * random.standard_normal(60)
        line, _ = calibration_line(x, y)
        expected = ((line.slope, 1.2), (line.intercept, 3.0), (line.curvature, 0.0))
        held += [each.low_95 <= value <= each.high_95 for each, value in expected]
    # 95 % of 200, within three standard errors of the simulation (1.5 % each) below; never all by design
    assert np.all(held / 200 >= 0.905), held / 200
    assert np.all(held / 200 <= 0.995), held / 200
