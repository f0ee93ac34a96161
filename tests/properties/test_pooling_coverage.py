"""Simulated benches with known truth: how often pooled intervals hold it; full size in tests/studies."""

import numpy as np
import pytest

from tests.studies.pooling_coverage import natural_decay_coverage, repeats_coverage


@pytest.mark.parametrize("runs", [3, 5, 10])
@pytest.mark.parametrize("between_over_fit", [0.0, 3.0])
def test_the_natural_decay_interval_holds_the_truth_in_93_to_97_percent(runs, between_over_fit):
    """1,500 simulated rooms; the standard error of a share of 95 % is then 0.6 %."""
    coverage, _ = natural_decay_coverage(runs, between_over_fit, 0.3, 1_500, np.random.default_rng(runs))
    assert 0.93 <= coverage <= 0.97


def test_one_run_with_a_lent_spread_holds_the_truth_as_well():
    coverage, _ = natural_decay_coverage(1, 3.0, 0.0, 2_000, np.random.default_rng(1))
    assert 0.93 <= coverage <= 0.97


def test_more_runs_narrow_the_natural_decay():
    random = np.random.default_rng(2)
    widths = [natural_decay_coverage(runs, 1.0, 0.0, 200, random)[1] for runs in (3, 5, 10)]
    assert widths == sorted(widths, reverse=True)


@pytest.mark.parametrize("unequal", [0.0, 0.8])
def test_combined_trials_hold_the_true_rate_whether_one_or_five(unequal):
    """25 units a bench, 400 benches, spreads that differ by 30 % from unit to unit, fits alike or very unequal."""
    found = repeats_coverage(25, 0.3, unequal, 400, np.random.default_rng(3))
    assert set(found) == {1, 2, 3, 5}
    for coverage, _ in found.values():
        assert 0.93 <= coverage <= 0.97
