"""What repeats share, against Monte Carlo (JCGM 101:2008) and generalised least squares of statsmodels."""

import numpy as np
import pytest
import statsmodels.api as sm

from app.compute.decay.systematic import LINEARITY, shared_parts
from app.compute.statistics.measured import Measured
from app.compute.statistics.shared_parts import SharedParts, shared_uncertainty, without_shared_part

PARTS = [
    SharedParts(humidity=0.02, window=0.01, warm_up=0.05, linearity=0.01),
    SharedParts(humidity=0.00, window=0.03, warm_up=0.04, linearity=0.01),
    SharedParts(humidity=0.03, window=0.00, warm_up=0.06, linearity=0.02),
]
WEIGHTS = [0.5, 0.2, 0.3]


@pytest.mark.parametrize("loggers", [(1, 1, 1), (1, 2, 1), (1, 2, 3), (None, None, 1)])
def test_the_shared_part_of_a_mean_is_that_of_draws_by_setting_and_by_logger(loggers):
    """JCGM 101:2008: one deviate a setting for humidity and window, one a logger for warm-up and linearity."""
    random = np.random.default_rng(8)
    draws = 200_000
    found = np.zeros(draws)
    of_setting = random.standard_normal((2, draws))
    of_logger = {logger: random.standard_normal((2, draws)) for logger in set(loggers)}
    for weight, part, logger in zip(WEIGHTS, PARTS, loggers, strict=True):
        found += weight * (part.humidity * of_setting[0] + part.window * of_setting[1])
        found += weight * (part.warm_up * of_logger[logger][0] + part.linearity * of_logger[logger][1])
    assert shared_uncertainty(WEIGHTS, PARTS, loggers) == pytest.approx(found.std(), rel=0.01)


def test_a_mean_of_alike_repeats_has_the_standard_error_of_generalised_least_squares():
    """statsmodels 0.14, GLS of a constant with the full covariance: five repeats with noise 0.08 of their own."""
    noise, part = 0.08, SharedParts(humidity=0.02, warm_up=0.05, linearity=0.01)
    covariance = np.full((5, 5), part.total**2) + np.diag(np.full(5, noise**2))
    reference = sm.GLS(np.array([5.0, 5.1, 4.9, 5.2, 5.0]), np.ones(5), sigma=covariance).fit()
    shared = shared_uncertainty([0.2] * 5, [part] * 5, [1] * 5)
    assert np.hypot(noise / np.sqrt(5), shared) == pytest.approx(np.sqrt(reference.normalized_cov_params[0, 0]))


def test_the_parts_of_a_stored_result():
    """By hand: 0.1 % of the rate; the change over windows as far as it is in the uncertainty, and beyond the noise."""
    unknown = np.nan
    found = shared_parts(
        rate=np.array([4.0, 4.0, 4.0, 4.0]),
        uncertainty=np.array([0.05, 0.05, 0.05, 0.05]),
        statistical=np.array([0.03, 0.03, 0.03, 0.03]),
        window=np.array([0.02, 0.04, unknown, 0.04]),
        humidity=np.array([0.01, unknown, unknown, unknown]),
        warm_up=np.array([0.02, 0.0, unknown, unknown]),
        curvature=np.full(4, unknown),
    )
    of_windows = np.sqrt(0.05**2 - 0.03**2 - 0.004**2)
    assert found.rows()[0] == pytest.approx((0.01, 0.0, 0.02, LINEARITY * 4.0))
    assert found.rows()[1] == pytest.approx((0.0, of_windows, 0.0, 0.004))
    assert found.rows()[2] == (0.0, 0.0, 0.0, 0.0)  # from before the budget
    assert found.rows()[3] == pytest.approx((0.0, 0.04, 0.0, 0.0))
    assert found.total[0] == pytest.approx(np.sqrt(0.01**2 + 0.02**2 + 0.004**2))


def test_a_curvature_that_a_check_shows_takes_the_place_of_the_general_line():
    columns = [np.array([value]) for value in (4.0, 0.1, 0.03, 0.0, 0.0, 0.02, 0.08)]
    assert shared_parts(*columns).rows()[0] == pytest.approx((0.0, 0.0, 0.02, 0.08))


def test_removing_and_adding_a_part_gives_the_whole():
    left = without_shared_part(Measured(5.0, 0.10, 20.0), 0.06)
    assert np.hypot(left.uncertainty, 0.06) == pytest.approx(0.10)
    assert left.degrees_of_freedom == pytest.approx(20.0 * 0.8**4)
    assert without_shared_part(Measured(5.0, 0.10), 0.10).uncertainty == pytest.approx(1e-4)  # no fit is exact
