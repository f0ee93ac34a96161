"""Limits from reference runs, against the handbook's rule, its constant and simulation."""

import math

import numpy as np
import pytest
from scipy.special import ndtr, stdtrit

from app.compute.control_charts.limits import MEAN_RANGE_OF_TWO, ChartRun, Limits, limits_of
from app.compute.control_charts.student import point_of_student


def runs_of(values: list[float], uncertainty: float = 1e-9) -> list[ChartRun]:
    return [ChartRun(n, float(n), value, uncertainty) for n, value in enumerate(values)]


def test_the_spread_of_equal_runs_is_the_mean_moving_range_over_1_128():
    """NIST/SEMATECH e-Handbook, 6.3.2.2: the standard deviation is estimated by the mean moving range over 1.128.

    The data are those of its example of a flowrate, in a group of ten batches, as are mean 50.81 and mean moving range
    1.8778; from memory. Their arithmetic is checked here.
    """
    flow = [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1]
    assert np.mean(flow) == pytest.approx(50.81)
    assert np.abs(np.diff(flow)).mean() == pytest.approx(1.8778, abs=5e-5)
    limits = limits_of(runs_of(flow))
    assert limits.centre == pytest.approx(50.81, abs=1e-6)
    assert limits.spread == pytest.approx(1.8778 / 1.128, abs=1e-3)


def test_the_constant_is_the_mean_range_of_two_normal_values():
    """d2 for two values is 1.128 in the tables of control charts; from memory."""
    assert pytest.approx(1.128, abs=5e-4) == MEAN_RANGE_OF_TWO


def test_the_runs_own_uncertainties_are_taken_out_of_the_spread():
    random = np.random.default_rng(20261129)
    own = random.uniform(0.01, 0.1, 30_000)
    values = 1.0 + random.normal(0, 0.05, own.size) + random.normal(0, own)
    found = limits_of([ChartRun(n, n, v, u) for n, (v, u) in enumerate(zip(values, own, strict=True))])
    assert found.spread == pytest.approx(0.05, rel=0.05)
    assert found.centre == pytest.approx(1.0, abs=0.005)


def test_no_spread_is_found_where_the_uncertainties_explain_the_ranges():
    limits = limits_of(runs_of([1.0, 1.01, 0.99, 1.0], uncertainty=0.1))
    assert limits.spread == 0.0
    assert limits.standard_deviation(0.1) == pytest.approx(0.1)


def test_equal_runs_have_limits_of_their_uncertainty():
    limits = limits_of(runs_of([2.0] * 16, uncertainty=0.1))
    assert (limits.centre, limits.spread) == (pytest.approx(2.0), 0.0)
    assert limits.shewhart_half_width(0.1) > 0.3


def test_the_scatter_of_a_spread_from_moving_ranges_is_as_its_degrees_of_freedom_say():
    """The relative variance of a standard deviation with ν degrees of freedom is 1/(2ν), by simulation."""
    random = np.random.default_rng(7)
    spreads = np.abs(np.diff(random.normal(size=(20_000, 30)), axis=1)).mean(axis=1) / MEAN_RANGE_OF_TWO
    degrees = limits_of(runs_of(list(map(float, range(30))))).degrees_of_freedom
    assert spreads.var() / spreads.mean() ** 2 == pytest.approx(1 / (2 * degrees), rel=0.03)


def test_a_long_reference_has_the_limits_of_the_handbook():
    random = np.random.default_rng(3)
    limits = limits_of(runs_of(random.normal(size=20_000).tolist()))
    assert limits.shewhart_sigmas == pytest.approx(3.0, abs=1e-3)
    assert limits.ewma_sigmas == pytest.approx(2.962, abs=1e-3)


def test_limits_of_a_short_reference_have_the_same_probability():
    """Student's t beyond the limit has the probability of 3 standard deviations, 0.135 % (published table of Φ)."""
    from scipy.stats import t

    limits = limits_of(runs_of(list(map(float, range(16)))))
    assert t.sf(limits.shewhart_sigmas, limits.degrees_of_freedom) == pytest.approx(0.00135, abs=1e-5)


def test_the_variance_of_the_average_is_exact_from_the_first_run_on():
    random = np.random.default_rng(11)
    known = Limits((), 0.0, 0.0, 1.0, math.inf, 3.0, 1.0)
    average = np.zeros(40_000)
    for number in range(1, 8):
        average = 0.2 * random.normal(size=average.size) + 0.8 * average
        assert average.std() == pytest.approx(known.ewma_half_width(number, 0.0), rel=0.02)


def test_an_uncertain_centre_moves_the_average_of_every_run_alike():
    random = np.random.default_rng(12)
    known = Limits((), 0.0, 0.0, 1.0, math.inf, 3.0, 1.0)
    error = 0.5 * random.normal(size=40_000)
    average = np.zeros(error.size)
    for _ in range(6):
        average = 0.2 * (random.normal(size=error.size) + error) + 0.8 * average
    assert average.std() == pytest.approx(known.ewma_half_width(6, 0.5), rel=0.02)


def test_one_reference_run_is_too_few():
    with pytest.raises(ValueError, match="Limits need at least two reference runs; there are 1"):
        limits_of(runs_of([1.0]))


def test_a_run_without_uncertainty_is_refused():
    with pytest.raises(ValueError, match=r"Run 0 has the uncertainty 0\.0; it must be above zero"):
        limits_of(runs_of([1.0, 2.0], uncertainty=0.0))


def test_the_points_of_student_are_those_of_scipy():
    """`scipy.special`: the upper tail of the normal distribution, and Student's t with the same one."""
    for sigmas in (0.1, 1.0, 2.962, 3.0, 4.5):
        for degrees in (1.0, 4.59, 9.2, 15.0, 60.3, 1e4):
            expected = -stdtrit(degrees, ndtr(-sigmas))
            assert point_of_student(sigmas, degrees) == pytest.approx(expected, rel=1e-10)
    # t tables: 2.228 for 95 % and ten degrees of freedom, 12.706 for one
    normal = 1.959963984540054
    assert point_of_student(normal, 10.0) == pytest.approx(2.228, abs=5e-4)
    assert point_of_student(normal, 1.0) == pytest.approx(12.706, abs=5e-4)
