"""Trials combined, with and without the bench's repeatability."""

import math

import pytest

from app.compute.statistics.measured import Measured
from app.compute.statistics.repeatability import Repeatability, pooled_repeatability
from app.compute.statistics.repeats import combine_trials

BENCH = Repeatability(0.05, 20.0, 9, 29, "repeats")


def rates(*values, uncertainty=0.05):
    return [Measured(value, uncertainty, 60.0) for value in values]


def test_a_single_trial_takes_its_spread_from_the_bench_and_says_so():
    combined = combine_trials(rates(4.0), BENCH)
    assert combined.total_decay.value == 4.0
    assert combined.total_decay.uncertainty == pytest.approx(math.hypot(0.05, 0.2))
    assert combined.between_trial_source == "bench repeatability"
    assert combined.between_trial_sd_per_h == pytest.approx(0.2)
    assert 20 < combined.total_decay.degrees_of_freedom < 25


def test_a_single_trial_without_a_bench_figure_says_that_its_spread_is_not_known():
    combined = combine_trials(rates(4.0))
    assert (combined.total_decay.value, combined.total_decay.uncertainty) == (4.0, 0.05)
    assert combined.total_decay.degrees_of_freedom == pytest.approx(60.0)
    assert combined.between_trial_source == "not known"


@pytest.mark.parametrize("bench", [None, Repeatability(0.05, 2.0, 1, 3, "too few")])
def test_two_trials_without_a_bench_figure_speak_for_themselves(bench):
    """By hand: half the difference, on one degree of freedom."""
    combined = combine_trials(rates(4.0, 4.6), bench)
    assert combined.total_decay.value == pytest.approx(4.3)
    assert combined.total_decay.uncertainty == pytest.approx(0.3)
    assert combined.total_decay.degrees_of_freedom == 1
    assert combined.between_trial_source == "own repeats"
    assert combined.heterogeneous  # 0.6 apart with uncertainties of 0.05
    assert combined.heterogeneity_p < 1e-6


@pytest.mark.parametrize("degrees", [1.0, 1.5, 3.0, 10.0, 60.0])
@pytest.mark.parametrize("uncertainty", [0.02, 0.2, 1.0])
def test_a_single_trial_is_not_better_known_for_a_borrowed_spread(degrees, uncertainty):
    """Effective degrees of freedom alone (JCGM 100:2008, G.4) give ± 0.33 for a fit known to ± 0.43 on two degrees of
    freedom with a spread of the same size on twenty."""
    alone = Measured(5.0, uncertainty, degrees)
    combined = combine_trials([alone], BENCH).total_decay
    assert combined.uncertainty >= alone.uncertainty
    assert combined.expanded_uncertainty_95 >= alone.expanded_uncertainty_95 * (1 - 1e-9)


def test_repeats_and_bench_are_combined_by_their_degrees_of_freedom():
    """By hand: bench variance (0.05 · 4.15)² + 0.05², own scatter 0.045 on one degree."""
    combined = combine_trials(rates(4.0, 4.3), BENCH)
    expected_of_bench = (0.05 * 4.15) ** 2 + 0.05**2
    scatter = 0.045 / expected_of_bench
    variance = (20 + scatter) / 21 * expected_of_bench / 2
    assert combined.total_decay.uncertainty == pytest.approx(math.sqrt(variance), rel=1e-12)
    assert combined.total_decay.degrees_of_freedom == 21
    assert combined.between_trial_source == "own repeats and bench repeatability"
    assert not combined.heterogeneous


def test_trials_that_differ_more_than_repeats_do_are_flagged_and_none_is_dropped():
    combined = combine_trials(rates(4.0, 4.1, 6.5), BENCH)
    assert combined.heterogeneous
    assert combined.scatter_p < 0.05
    assert len(combined.weights) == 3
    assert min(combined.weights) > 0.3
    assert combined.between_trial_source == "own repeats"
    assert combined.total_decay.degrees_of_freedom == 2
    assert combined.i_squared > 0.9


def test_a_poorly_fitted_trial_weighs_less():
    combined = combine_trials([Measured(4.0, 0.05), Measured(4.2, 0.8)], BENCH)
    assert combined.weights[0] > 5 * combined.weights[1]


def test_an_exactly_known_bench_figure_leaves_the_scatter_out():
    combined = combine_trials(rates(4.0, 4.3), Repeatability(0.05, math.inf, 9, 29, "given"))
    assert combined.total_decay.uncertainty == pytest.approx(math.sqrt(((0.05 * 4.15) ** 2 + 0.05**2) / 2))
    assert math.isinf(combined.total_decay.degrees_of_freedom)


def test_more_trials_narrow_the_interval():
    two, four = combine_trials(rates(4.0, 4.2), BENCH), combine_trials(rates(4.0, 4.2, 4.0, 4.2), BENCH)
    assert four.total_decay.uncertainty < two.total_decay.uncertainty


def test_no_trial_is_refused():
    with pytest.raises(ValueError, match=r"^Combining trials needs at least one decay rate and found none\.$"):
        combine_trials([])


def test_a_trial_without_an_uncertainty_is_refused():
    with pytest.raises(
        ValueError,
        match=r"^A trial has the uncertainty 0\.0 per hour; it must be "
        r"above zero\.$",
    ):
        combine_trials([Measured(4.0, 0.0)])


def test_repeatability_is_pooled_over_groups_by_degrees_of_freedom():
    """By hand: relative squares 2·(1/11)² on 1 degree and 2·0.1² on 2 degrees; no fit uncertainty to take off."""
    groups = [rates(1.0, 1.2, uncertainty=1e-9), rates(0.9, 1.0, 1.1, uncertainty=1e-9), rates(5.0)]
    spread = pooled_repeatability(groups)
    assert spread is not None
    assert spread.relative_sd == pytest.approx(math.sqrt((2 * (1 / 11) ** 2 + 0.02) / 3))
    assert (spread.degrees_of_freedom, spread.groups, spread.trials) == (3.0, 2, 5)
    assert spread.source == "repeats on this bench: 5 trials in 2 groups"
    assert spread.is_usable


def test_a_trial_with_a_poor_fit_tells_little_of_the_spread():
    """Ten pairs 4 % apart, known to 0.1 %; then one more pair, far apart, known to 60 %: the spread stays."""
    pairs = [rates(1.0, 1.04, uncertainty=0.001)] * 10
    poor = [Measured(3.0, 1.8), Measured(5.0, 0.05)]
    without, with_it = pooled_repeatability(pairs), pooled_repeatability([*pairs, poor])
    assert without is not None
    assert with_it is not None
    assert without.relative_sd == pytest.approx(0.04 / 1.02 / math.sqrt(2), rel=0.01)
    assert with_it.relative_sd == pytest.approx(without.relative_sd, rel=0.1)


def test_a_spread_seen_beside_poor_fits_is_known_less_well():
    """By hand: four pairs whose fits are as uncertain as the spread leave a quarter of the degrees of freedom."""
    alike = Repeatability(0.05, 8.0, 8, 16, "repeats", relative_fit_sd=0.05)
    assert alike.degrees_of_freedom_alone == pytest.approx(2.0)
    assert alike.degrees_of_freedom_with_fit(0.0) == pytest.approx(2.0)
    assert alike.degrees_of_freedom_with_fit(0.05**2) == pytest.approx(8.0)
    assert alike.degrees_of_freedom_with_fit(1.0) == 8.0
    assert Repeatability(0.0, 8.0, 8, 16, "repeats", 0.05).degrees_of_freedom_with_fit(0.1) == 8.0


def test_scatter_that_the_fits_explain_is_no_repeatability():
    spread = pooled_repeatability([rates(4.0, 4.01, uncertainty=0.3)])
    assert spread is not None
    assert spread.relative_sd == 0.0
    assert not spread.is_usable


def test_a_bench_without_repeats_has_no_repeatability():
    assert pooled_repeatability([rates(4.0), rates(2.0), []]) is None
    assert pooled_repeatability([rates(-0.1, 0.05)]) is None
