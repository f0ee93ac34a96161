"""Simulated benches with known truth: how often pooled intervals hold it; full size in tests/studies."""

import math

import numpy as np
import pytest

from app.compute.statistics.measured import Measured
from app.compute.statistics.repeats import combine_trials
from tests.studies.few_trials import room_drift, small_samples


@pytest.mark.parametrize("runs", ["1 at any time", "8 at any time", "3 early, 3 late"])
def test_the_decay_of_one_day_in_a_steady_room_is_held_where_it_varies_as_assumed(runs):
    """100 campaigns of six trials; the six share their runs, so the standard error of a share of 95 % is about 2 %."""
    found = room_drift.coverage(runs, "none", 0.25, 100, np.random.default_rng(1))
    assert 0.91 <= found["day"] <= 0.99


@pytest.mark.parametrize("drift", ["rises by 50 %", "doubles"])
def test_a_room_that_drifts_while_all_runs_are_early_is_held_or_noted(drift):
    """A flat mean holds it in about 30 %, without a word."""
    found = room_drift.coverage("4 in the first 5 days", drift, 0.10, 60, np.random.default_rng(2))
    assert found["level_or_noted"] >= 0.93
    assert found["day_or_noted"] >= 0.93
    assert found["flat"] < 0.6


def test_runs_on_both_sides_of_the_trials_hold_a_drift_without_a_note():
    found = room_drift.coverage("3 early, 3 late", "rises by 50 %", 0.10, 60, np.random.default_rng(3))
    assert found["level"] >= 0.93


def test_a_bench_without_any_repeat_holds_rates_and_ratios_where_trials_differ_as_assumed():
    found = small_samples.bench_coverage([1] * 8, 0.05, 0.02, 250, np.random.default_rng(4))
    assert 0.93 <= found["rate"] <= 0.97
    assert 0.93 <= found["ratio"] <= 0.975
    assert found["right"] >= found["stated"] - 0.06


def test_without_the_assumed_spread_it_does_not():
    found = small_samples.bench_coverage([1] * 8, 0.05, 0.02, 60, np.random.default_rng(5), without_spread=True)
    assert found["rate"] < 0.7


@pytest.mark.parametrize("repeats", [1, 2, 3, 5, 6, 8])  # from six on also by Kaplan and Meier
def test_the_median_time_to_clear_is_held_for_one_to_eight_repeats(repeats):
    """600 settings; the standard error of a share of 95 % is then 0.9 %."""
    found = small_samples.clearing_coverage(repeats, 1.0, np.inf, 600, np.random.default_rng(10 + repeats))
    assert 0.92 <= found["held"] <= 0.98
    assert found["without"] == 0.0


def test_runs_that_end_too_early_do_not_spoil_the_median_of_those_that_have_one():
    found = small_samples.clearing_coverage(4, 1.0, 1.1, 300, np.random.default_rng(9))
    assert found["held"] >= 0.92
    assert 0 < found["without"] < 0.2


@pytest.mark.parametrize("unequal", [0.0, 0.8])
def test_combined_trials_hold_the_true_rate_whether_one_or_five(unequal):
    """25 units a bench, 250 benches, spreads that differ by 30 % from unit to unit, fits alike or very unequal."""
    found = small_samples.repeats_coverage(25, 0.3, unequal, 250, np.random.default_rng(3))
    assert set(found) == {1, 2, 3, 5}
    for coverage, _ in found.values():
        assert 0.93 <= coverage <= 0.97


def test_no_single_trial_holds_90_percent_at_twice_the_spread_and_98_at_the_assumed_one():
    """By the normal distribution: 98 % lie within 2.326 standard deviations, 75.5 % within half as many."""
    assert small_samples.widest_below(0.98, 2.0) == pytest.approx(0.755, abs=5e-4)
    random = np.random.default_rng(1)
    once, width = small_samples.other_assumptions(5.0, math.sqrt(3 / 5), 1, 1.0, random)
    alone = combine_trials([Measured(1.0, 1e-6)]).total_decay
    assert width == pytest.approx(alone.expanded_uncertainty_95 / (1.96 * 0.05), rel=1e-3)
    assert once == pytest.approx(0.954, abs=0.003)
