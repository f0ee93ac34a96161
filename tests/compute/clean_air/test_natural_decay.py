"""Natural decay pooled over empty-room runs."""

import math

import numpy as np
import pytest

from app.compute.clean_air.natural_decay import ASSUMED_BETWEEN_RUNS, MOST_RUNS, EmptyRoomRun, pool_natural_decay
from app.compute.statistics.measured import Measured
from app.compute.statistics.repeatability import Repeatability


def run(number, value, uncertainty=0.02, day=0.0):
    return EmptyRoomRun(number, Measured(value, uncertainty, 40.0), day)


THREE = [run(4, 0.50, day=3), run(9, 0.62, day=1), run(2, 0.44, day=8)]
BENCH = Repeatability(0.10, 12.0, 5, 17, "empty-room runs on this bench: 17 trials in 5 groups")


def test_three_runs_speak_for_themselves_and_name_what_they_are():
    pooled = pool_natural_decay(THREE, day=4.0, between_runs=BENCH)
    assert 0.44 < pooled.natural_decay.value < 0.62
    assert pooled.between_run_source == "these runs"
    assert pooled.heterogeneity_p < 0.01


def test_a_pool_says_which_runs_it_used_and_how_much_of_each():
    pooled = pool_natural_decay([run(4, 0.50, 0.02, 3), run(9, 0.55, 0.30, 1), run(2, 0.52, 0.02, 8)], day=4.0)
    assert pooled.run_ids == (9, 4, 2)  # in order of their days
    assert pooled.number_of_runs == 3
    assert sum(pooled.weights) == pytest.approx(1.0)
    assert pooled.weights[0] < pooled.weights[1]
    assert (pooled.first_day, pooled.last_day) == (1, 8)


def test_a_single_run_borrows_the_spread_of_the_bench():
    """Known spread and a run on the same day: its fit and that spread, and nothing for the time between."""
    known = Repeatability(0.10, 30.0, 5, 17, "repeats on this bench")
    pooled = pool_natural_decay([run(1, 0.50, 0.02, 7.0)], day=7.0, between_runs=known)
    assert pooled.natural_decay.value == pytest.approx(0.5)
    fit_variance = 0.02**2 * 40 / 38
    assert pooled.natural_decay.expanded_uncertainty_95 == pytest.approx(
        1.96 * math.sqrt(fit_variance + 0.05**2), rel=0.04
    )
    assert pooled.between_run_source == "repeats on this bench"
    assert pooled.heterogeneity_p == 1.0


def test_on_a_new_bench_the_assumed_spread_is_used_and_said():
    pooled = pool_natural_decay([run(1, 0.50, day=3.0)], day=3.0)
    assumed = 0.125 * math.sqrt(1 + 3 * 0.25**2)  # a level seen once may lie higher
    assert pooled.natural_decay.expanded_uncertainty_95 == pytest.approx(1.96 * math.hypot(0.02, assumed), rel=0.03)
    assert pooled.between_run_source == ASSUMED_BETWEEN_RUNS.source
    assert "assumed 25 %" in pooled.between_run_source


def test_the_interval_widens_away_from_the_runs():
    widths = [pool_natural_decay(THREE, day=day).natural_decay.expanded_uncertainty_95 for day in (4.0, 20.0, 60.0)]
    assert widths == sorted(widths)
    assert widths[2] > 1.3 * widths[0]
    before, after = (pool_natural_decay(THREE, day=day).natural_decay for day in (1.0 - 30.0, 8.0 + 30.0))
    assert before.expanded_uncertainty_95 > widths[0]
    assert after.expanded_uncertainty_95 > widths[0]


def test_a_room_with_a_trend_is_followed_and_a_steady_one_is_averaged():
    days = np.linspace(0, 60, 13)
    rising = [run(n, 0.4 + 0.4 * day / 60, 0.01, float(day)) for n, day in enumerate(days)]
    steady = [run(n, 0.6 + 0.02 * (-1) ** n, 0.01, float(day)) for n, day in enumerate(days)]
    assert pool_natural_decay(rising, day=0.0).natural_decay.value < 0.45
    assert pool_natural_decay(rising, day=60.0).natural_decay.value > 0.75
    assert pool_natural_decay(steady, day=60.0).natural_decay.value == pytest.approx(0.6, abs=0.02)
    assert (
        pool_natural_decay(rising, day=30.0).drift_sd_per_month
        > pool_natural_decay(steady, day=30.0).drift_sd_per_month
    )


def test_one_day_varies_more_than_the_level():
    pooled = pool_natural_decay(THREE, day=4.0)
    assert pooled.on_one_day.value == pytest.approx(pooled.natural_decay.value)
    assert pooled.on_one_day.expanded_uncertainty_95 > 1.2 * pooled.natural_decay.expanded_uncertainty_95


def test_more_runs_narrow_the_interval():
    random = np.random.default_rng(3)
    runs = [run(i, v, day=float(i)) for i, v in enumerate(random.normal(0.5, 0.05, 12))]
    few, many = (pool_natural_decay(some, day=3.0).natural_decay for some in (runs[:4], runs))
    assert many.high_95 - many.low_95 < few.high_95 - few.low_95


def test_of_very_many_runs_the_nearest_in_time_are_used():
    runs = [run(i, 0.5 + 0.01 * (i % 3), day=float(i)) for i in range(60)]
    assert pool_natural_decay(runs, day=59.0).run_ids == tuple(range(60 - MOST_RUNS, 60))


def test_the_same_runs_in_another_order_give_the_same_digits():
    one, other = pool_natural_decay(THREE, day=5.0), pool_natural_decay(THREE[::-1], day=5.0)
    assert one.natural_decay == other.natural_decay
    assert one.on_one_day == other.on_one_day
    assert (one.run_ids, one.weights) == (other.run_ids, other.weights)
    of_one_day = [run(4, 0.50), run(9, 0.62), run(2, 0.44)]
    renamed = [run(9, 0.50), run(2, 0.62), run(4, 0.44)]
    assert pool_natural_decay(of_one_day, day=2.0).natural_decay == pool_natural_decay(renamed, day=2.0).natural_decay


def test_no_run_is_not_a_natural_decay_of_zero():
    with pytest.raises(ValueError, match=r"^The natural decay needs at least one empty-room run and found none\.$"):
        pool_natural_decay([], day=1.0)


def test_a_run_without_an_uncertainty_is_refused():
    message = r"^Empty-room run 6 has the uncertainty 0\.0 per hour; it must be above zero\.$"
    with pytest.raises(ValueError, match=message):
        pool_natural_decay([run(6, 0.5, 0.0)], day=1.0)
