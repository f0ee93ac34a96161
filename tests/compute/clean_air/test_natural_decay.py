"""Natural decay pooled over empty-room runs."""

import math

import numpy as np
import pytest

from app.compute.clean_air.natural_decay import ASSUMED_BETWEEN_RUNS, EmptyRoomRun, pool_natural_decay
from app.compute.statistics.measured import Measured
from app.compute.statistics.repeatability import Repeatability


def run(number, value, uncertainty=0.02, day=0.0):
    return EmptyRoomRun(number, Measured(value, uncertainty, 40.0), day)


THREE = [run(4, 0.50, day=3), run(9, 0.62, day=1), run(2, 0.44, day=8)]
BENCH = Repeatability(0.10, 12.0, 5, 17, "repeats on this bench")


def test_three_runs_speak_for_themselves():
    """Equal uncertainties: the mean and standard deviation by hand, 0.52 and 0.0917 over the root of three."""
    pooled = pool_natural_decay(THREE, between_runs=BENCH)
    assert pooled.natural_decay.value == pytest.approx(0.52)
    assert pooled.natural_decay.uncertainty == pytest.approx(math.sqrt(0.0084) / math.sqrt(3))
    assert pooled.natural_decay.degrees_of_freedom == 2
    assert pooled.between_run_source == "these runs"
    assert pooled.between_run_sd_per_h == pytest.approx(math.sqrt(0.0084 - 0.02**2))
    assert pooled.heterogeneity_p < 0.01


def test_a_pool_says_which_runs_it_used_and_how_much_of_each():
    pooled = pool_natural_decay([run(4, 0.50, 0.02, 3), run(9, 0.55, 0.10, 1), run(2, 0.52, 0.02, 8)])
    assert pooled.run_ids == (4, 9, 2)
    assert pooled.number_of_runs == 3
    assert sum(pooled.weights) == pytest.approx(1.0)
    assert pooled.weights[1] < pooled.weights[0]
    assert (pooled.first_day, pooled.last_day) == (1, 8)


def test_a_single_run_borrows_the_spread_of_the_bench():
    pooled = pool_natural_decay([run(1, 0.50)], between_runs=BENCH)
    assert pooled.natural_decay.uncertainty == pytest.approx(math.hypot(0.02, 0.05))
    assert pooled.between_run_source == "repeats on this bench"
    assert pooled.heterogeneity_p == 1.0
    # mostly the borrowed spread, so a little more than its twelve degrees of freedom
    assert 12 < pooled.natural_decay.degrees_of_freedom < 18


@pytest.mark.parametrize("bench", [None, Repeatability(0.01, 2.0, 1, 3, "too few")])
def test_without_a_bench_figure_the_assumed_spread_is_used_and_said(bench):
    pooled = pool_natural_decay([run(1, 0.50)], between_runs=bench)
    assert pooled.natural_decay.uncertainty == pytest.approx(math.hypot(0.02, 0.125))
    assert pooled.between_run_source == ASSUMED_BETWEEN_RUNS.source
    assert "assumed 25 %" in pooled.between_run_source


def test_two_runs_combine_their_own_scatter_with_the_borrowed_one():
    """Own variance 0.0392 - 0.0004 on 1 degree, borrowed (0.1 · 0.64)² on 12, by hand."""
    pooled = pool_natural_decay([run(1, 0.50), run(2, 0.78)], between_runs=BENCH)
    expected = (12 * 0.064**2 + (0.0392 - 0.0004)) / 13
    assert pooled.between_run_sd_per_h == pytest.approx(math.sqrt(expected), rel=1e-9)
    assert pooled.natural_decay.value == pytest.approx(0.64)
    assert pooled.natural_decay.uncertainty == pytest.approx(math.sqrt((0.0004 + expected) / 2), rel=1e-9)


def test_one_day_varies_more_than_the_mean_of_many():
    pooled = pool_natural_decay(THREE)
    assert pooled.on_one_day.value == pooled.natural_decay.value
    assert pooled.on_one_day.uncertainty == pytest.approx(
        math.hypot(pooled.natural_decay.uncertainty, pooled.between_run_sd_per_h)
    )


def test_more_runs_narrow_the_interval():
    random = np.random.default_rng(3)
    runs = [run(i, v) for i, v in enumerate(random.normal(0.5, 0.05, 12))]
    few, many = pool_natural_decay(runs[:4]).natural_decay, pool_natural_decay(runs).natural_decay
    assert many.high_95 - many.low_95 < few.high_95 - few.low_95


def test_no_run_is_not_a_natural_decay_of_zero():
    with pytest.raises(ValueError, match=r"^The natural decay needs at least one empty-room run and found none\.$"):
        pool_natural_decay([])


def test_a_run_without_an_uncertainty_is_refused():
    message = r"^Empty-room run 6 has the uncertainty 0\.0 per hour; it must be above zero\.$"
    with pytest.raises(ValueError, match=message):
        pool_natural_decay([run(6, 0.5, 0.0)])
