"""Trials combined, with and without the bench's repeatability."""

import math

import numpy as np
import pytest
from scipy.optimize import brentq
from scipy.special import chdtri, ndtr
from statsmodels.regression.linear_model import OLS
from statsmodels.regression.mixed_linear_model import MixedLM

from app.compute.statistics.measured import Measured
from app.compute.statistics.repeatability import (
    ASSUMED_BETWEEN_TRIALS,
    Repeatability,
    RepeatedRates,
    pooled_repeatability,
    restricted_log_likelihood,
    with_spread,
)
from app.compute.statistics.repeats import combine_trials

BENCH = Repeatability(0.05, 20.0, 9, 29, "repeats")


def rates(*values, uncertainty=0.05):
    return [Measured(value, uncertainty, 60.0) for value in values]


def test_a_single_trial_takes_its_spread_from_the_bench_and_says_so():
    combined = combine_trials(rates(4.0), BENCH)
    assert combined.total_decay.value == 4.0
    # mean variance 0.2² and 0.05² · 60/58; degrees of freedom and scale by hand from `total_variance`
    mean, degrees = 0.04 + 0.0025 * 60 / 58, combined.total_decay.degrees_of_freedom
    of_spread, of_fit = 2 * 0.04**2 / 16, 2 * (0.0025 * 60 / 58) ** 2 / 56
    assert degrees == pytest.approx(4 + 2 * mean**2 / (of_spread + of_fit))
    assert combined.total_decay.uncertainty == pytest.approx(math.sqrt(mean * (degrees - 2) / degrees))
    assert combined.between_trial_source == "bench repeatability"
    assert combined.between_trial_sd_per_h == pytest.approx(0.2)


def test_a_single_trial_on_a_new_bench_takes_the_assumed_spread_and_says_so():
    """Five per cent is the root mean square, so the interval is close to 1.96 times it."""
    combined = combine_trials(rates(4.0, uncertainty=1e-6))
    assert combined.between_trial_source == "assumed spread"
    assert combined.total_decay.degrees_of_freedom == pytest.approx(5.0)
    assert combined.total_decay.expanded_uncertainty_95 == pytest.approx(1.96 * 0.05 * 4.0, rel=0.02)


@pytest.mark.parametrize("uncertainty", [0.001, 0.1, 0.2, 0.5])
@pytest.mark.parametrize("degrees", [5.0, 12.0, 60.0])
def test_the_interval_is_close_to_that_of_the_exact_mixture(uncertainty, degrees):
    """JCGM 101:2008 (Supplement 1 of the GUM): the distribution of a sum by Monte Carlo, here by its quantiles."""
    spread = Repeatability(0.05, degrees, 9, 29, "repeats")
    found = with_spread(Measured(4.0, uncertainty), spread)
    shares = (np.arange(20_000) + 0.5) / 20_000
    variances = (0.2**2 * (degrees - 2)) / chdtri(degrees, 1 - shares) + uncertainty**2
    exact = brentq(lambda half: float(np.mean(ndtr(half / np.sqrt(variances)))) - 0.975, 1e-6, 10)
    assert found.expanded_uncertainty_95 == pytest.approx(exact, rel=0.02)


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
    """By hand: mean variance (0.05 · 4.15)² + 0.05², own scatter 0.045 on one degree."""
    combined = combine_trials(rates(4.0, 4.3), BENCH)
    of_spread = (0.05 * 4.15) ** 2
    mean = of_spread + 0.05**2
    degrees = 4 + 16 * (mean / of_spread) ** 2
    scale = mean * (degrees - 2) / degrees
    variance = (degrees + 0.045 / scale) / (degrees + 1) * scale / 2
    assert combined.total_decay.uncertainty == pytest.approx(math.sqrt(variance), rel=1e-12)
    assert combined.total_decay.degrees_of_freedom == pytest.approx(degrees)
    assert combined.between_trial_source == "own repeats and bench repeatability"
    assert not combined.heterogeneous


def test_repeats_on_a_new_bench_say_that_the_spread_is_partly_assumed():
    assert combine_trials(rates(4.0, 4.3)).between_trial_source == "own repeats and assumed spread"


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


def test_repeatability_is_updated_by_all_groups_with_repeats():
    groups = [rates(1.0, 1.2, uncertainty=1e-9), rates(0.9, 1.0, 1.1, uncertainty=1e-9), rates(5.0)]
    spread = pooled_repeatability(groups)
    assert (spread.groups, spread.trials, spread.repeats) == (2, 5, 3)
    assert spread.source == (
        "assumed 5 % between repeats (common practice, no source), updated by 5 trials in 2 groups"
    )
    # conjugate update by hand: (5 · scale + sum of squares) / (5 + 3), as root mean square; fits are exact
    squares = 5 * 0.05**2 * 3 / 5 + 2 * (1 / 11) ** 2 + 0.02
    assert spread.degrees_of_freedom == pytest.approx(8.0, rel=0.01)
    assert spread.relative_sd == pytest.approx(math.sqrt(squares / (8 - 2)), rel=0.002)


def test_with_many_repeats_the_assumption_counts_little():
    """Sixty pairs 4 % apart: standard deviation 0.04 / 1.02 / √2, on sixty degrees of freedom and five assumed."""
    spread = pooled_repeatability([rates(1.0, 1.04, uncertainty=1e-4)] * 60)
    assert spread.relative_sd == pytest.approx(0.04 / 1.02 / math.sqrt(2), rel=0.06)
    assert spread.degrees_of_freedom == pytest.approx(65.0, rel=0.02)
    assert spread.source == "repeats on this bench: 120 trials in 60 groups"
    assert not spread.mostly_assumed


def test_a_bench_of_thousands_of_trials_knows_its_spread_closely_and_no_better():
    """About 9,000 degrees of freedom, less what the fits hide; by hand from the variance of a variance."""
    random = np.random.default_rng(12)
    groups = [
        [Measured(float(5 * (1 + 0.04 * a + 0.01 * b)), 0.05, 60.0) for a, b in random.normal(size=(4, 2))]
        for _ in range(3_000)
    ]
    spread = pooled_repeatability(groups)
    assert spread.relative_sd == pytest.approx(0.04, rel=0.03)
    assert spread.degrees_of_freedom == pytest.approx(9_000 * (0.04**2 / (0.04**2 + 0.01**2)) ** 2, rel=0.05)


def test_the_restricted_likelihood_has_its_maximum_where_statsmodels_has_its_estimate():
    """statsmodels 0.14, OLS with one mean for each group: `scale` is the restricted estimate of the variance."""
    random = np.random.default_rng(5)
    group_of = np.repeat(np.arange(6), [2, 3, 2, 4, 2, 5])
    values = random.normal(1.0, 0.06, group_of.size)
    reference = OLS(values, (group_of[:, None] == np.arange(6)).astype(float)).fit()
    groups = RepeatedRates(values, np.full(values.size, 1e-12), np.flatnonzero(np.diff(group_of, prepend=-1)))
    spreads = np.geomspace(0.01, 0.3, 20_001)
    best = spreads[int(np.argmax(restricted_log_likelihood(groups, spreads)))]
    assert best == pytest.approx(math.sqrt(reference.scale), rel=2e-4)


def test_the_spread_beyond_known_errors_is_that_of_a_mixed_model():
    """statsmodels 0.14, MixedLM by restricted likelihood: twelve trials, five values each, one intercept a trial. Their
    means have the residual variance over five for their own error, and the variance of the intercepts is the spread."""
    random = np.random.default_rng(8)
    values = 100 + random.normal(0, 6, 12)[:, None] + random.normal(0, 5, (12, 5))  # small numbers make it warn
    reference = MixedLM(values.ravel(), np.ones(60), groups=np.repeat(np.arange(12), 5)).fit(reml=True)
    own = np.full(12, reference.scale / 5)
    spreads = np.geomspace(2, 20, 20_001)
    found = restricted_log_likelihood(RepeatedRates(values.mean(axis=1), own, np.array([0])), spreads)
    assert spreads[int(np.argmax(found))] == pytest.approx(
        math.sqrt(float(np.asarray(reference.cov_re)[0, 0])), rel=1e-3
    )


def test_a_trial_with_a_poor_fit_tells_little_of_the_spread():
    """Ten pairs 4 % apart, known to 0.1 %; then one more pair, far apart, known to 60 %: the spread stays."""
    pairs = [rates(1.0, 1.04, uncertainty=0.001)] * 10
    poor = [Measured(3.0, 1.8), Measured(5.0, 0.05)]
    without, with_it = pooled_repeatability(pairs), pooled_repeatability([*pairs, poor])
    assert with_it.relative_sd == pytest.approx(without.relative_sd, rel=0.1)


def test_a_spread_seen_beside_poor_fits_is_known_less_well():
    precise = pooled_repeatability([rates(1.0, 1.05, uncertainty=0.001)] * 10)
    poor = pooled_repeatability([rates(1.0, 1.05, uncertainty=0.05)] * 10)
    assert poor.degrees_of_freedom < precise.degrees_of_freedom


def test_scatter_that_the_fits_explain_lowers_the_spread_but_not_to_zero():
    spread = pooled_repeatability([rates(4.0, 4.01, uncertainty=0.02)] * 30)
    assert 0 < spread.relative_sd < 0.02


def test_a_bench_without_repeats_has_the_assumed_repeatability():
    assert pooled_repeatability([rates(4.0), rates(2.0), []]) is ASSUMED_BETWEEN_TRIALS


def test_the_order_of_groups_and_trials_does_not_change_a_digit():
    random = np.random.default_rng(8)
    groups = [rates(*(5 + random.normal(0, 0.3, n))) for n in (2, 3, 4, 2, 3, 5, 2)]
    turned = [list(reversed(group)) for group in reversed(groups)]
    assert pooled_repeatability(groups) == pooled_repeatability(turned)


def test_a_figure_in_steps_seldom_moves_and_stays_within_a_step():
    spread = pooled_repeatability([rates(1.0, 1.04, uncertainty=0.001)] * 500)
    more = pooled_repeatability([rates(1.0, 1.04, uncertainty=0.001)] * 501)
    assert spread != more
    assert spread.in_steps().relative_sd == more.in_steps().relative_sd
    assert spread.in_steps().relative_sd == pytest.approx(spread.relative_sd, rel=0.011)
    assert spread.in_steps().degrees_of_freedom == pytest.approx(spread.degrees_of_freedom, rel=0.021)


def test_a_spread_with_too_few_degrees_of_freedom_is_refused():
    with pytest.raises(ValueError, match=r"^A spread has 4\.0 degrees of freedom; it needs more than four\.$"):
        Repeatability(0.05, 4.0, 1, 2, "too few")
