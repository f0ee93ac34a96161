"""Half-widths to come: trials, empty-room runs, the floor, and what simulated campaigns reach."""

import math

import numpy as np
import pytest

from app.compute.clean_air.natural_decay import ASSUMED_BETWEEN_RUNS, EmptyRoomRun, pool_natural_decay
from app.compute.planning.natural_ahead import FurtherRuns, LevelAhead, RoomAhead, levels_ahead, uncertainty_growth
from app.compute.planning.precision import RateToPlan, fewest_runs, floor_half_width, half_width_after
from app.compute.planning.trial_variance import ASSURANCE, TrialVariance, combined_with_bench
from app.compute.statistics.measured import Measured
from app.compute.statistics.repeatability import Repeatability, pooled_repeatability
from app.compute.statistics.repeats import combine_trials
from tests.studies.few_trials.plan_precision import CASES, precision_of

EXACT = LevelAhead(Measured(0.5, 0.0), 0.0)
SURE_ROOM = RoomAhead((EXACT,) * 4, (EXACT,) * 4)


def plan(scale: float, *, degrees: float = 20.0, volume_share: float = 0.0, shared: float = 0.0) -> RateToPlan:
    return RateToPlan(4.5, TrialVariance(scale, degrees, 1, shared), SURE_ROOM, Measured(30.0, 30.0 * volume_share))


def test_a_known_variance_falls_with_the_number_of_trials_alone():
    known = plan(0.04, degrees=math.inf)
    for trials in (1, 3, 8):
        found = half_width_after(known, trials, 2)
        assert found.typical == pytest.approx(1.959964 * 0.2 / math.sqrt(1 + trials) / 4.0, rel=1e-6)
        # only where the rate comes to lie differs from campaign to campaign
        assert found.typical < found.assured < 1.1 * found.typical


def test_an_uncertain_variance_has_to_allow_for_the_campaigns_whose_trials_scatter_more():
    found = half_width_after(plan(0.04), 6, 2)
    assert found.assured > 1.1 * found.typical


def test_nothing_varies_where_no_run_is_added():
    now = half_width_after(plan(0.04), 0, 0)
    assert now.typical == now.assured == pytest.approx(Measured(1.0, 0.2, 20.0).expanded_uncertainty_95 / 4.0)


def test_the_fewest_runs_reach_the_goal_and_one_trial_less_does_not():
    asked = plan(0.04)
    found = fewest_runs(asked, 0.06)
    assert found.assured <= 0.06 < half_width_after(asked, found.trials - 1, found.empty_runs).assured
    assert found.empty_runs == 2  # they bracket the trials, although this room needs none
    assert fewest_runs(asked, 0.5).trials == 0


def test_no_number_of_runs_goes_below_volume_and_humidity():
    asked = plan(0.04, volume_share=0.03, shared=0.05)
    volume, humidity = floor_half_width(asked)
    assert volume == pytest.approx(1.959964 * 0.03)
    assert humidity == pytest.approx(1.959964 * 0.05 / 4.0)
    found = fewest_runs(asked, 0.04)
    assert found.assured > math.hypot(volume, humidity) > 0.04


def test_a_unit_that_does_nothing_has_no_share_to_plan():
    idle = RateToPlan(0.5, TrialVariance(0.01, 9.0, 2), SURE_ROOM, Measured(30.0, 0.3))
    with pytest.raises(ValueError, match=r"^The rate above the natural decay is 0 per hour; it must be above zero\.$"):
        half_width_after(idle, 1, 2)


def test_the_scatter_to_come_is_what_simulated_repeats_show():
    """The promised uncertainty of a mean against repeats that the bench combines, spread drawn as it is assumed."""
    random = np.random.default_rng(8)
    degrees, first, more = 12.0, 1, 6
    promised = TrialVariance(0.01, degrees, first).mean_after(4.0, more, ASSURANCE).uncertainty
    reached = []
    for _ in range(200):
        sd = math.sqrt(0.01 * degrees / random.chisquare(degrees))
        trials = [Measured(float(k), 1e-4) for k in 4.0 + random.normal(0, sd, first + more)]
        bench = Repeatability(math.sqrt(0.01 * degrees / (degrees - 2)) / 4.0, degrees, 0, 0, "")
        updated = pooled_repeatability([trials], bench)
        reached.append(combine_trials(trials, updated).total_decay.uncertainty <= promised)
    assert np.mean(reached) == pytest.approx(ASSURANCE, abs=0.065)  # three standard errors


def test_a_few_wild_repeats_do_not_decide_alone():
    own = TrialVariance(0.5, 1.0, 2)
    both = combined_with_bench(own, 4.0, 0.001, Repeatability(0.05, 20.0, 10, 30, ""))
    assert both.degrees_of_freedom > 20
    assert 0.04 < both.scale < 0.1


def runs(*days: float) -> list[EmptyRoomRun]:
    return [EmptyRoomRun(n, Measured(0.3, 0.01), day) for n, day in enumerate(days)]


def test_natural_decay_ahead_begins_with_the_pool_and_narrows_with_each_run():
    ahead = levels_ahead(runs(0.0, 10.0, 20.0), ASSUMED_BETWEEN_RUNS, 40.0, FurtherRuns((38.0, 42.0), 0.01, 4))
    now = pool_natural_decay(runs(0.0, 10.0, 20.0), day=40.0).natural_decay
    assert ahead[0].expected == now
    assert ahead[0].assured_uncertainty == now.uncertainty
    widths = [level.expected.uncertainty for level in ahead]
    assert widths == sorted(widths, reverse=True)
    assert all(level.assured_uncertainty > level.expected.uncertainty for level in ahead[1:])


def test_natural_decay_is_less_certain_the_further_it_is_from_a_run():
    on_day, later = uncertainty_growth(runs(0.0, 10.0, 20.0), ASSUMED_BETWEEN_RUNS, 30.0)
    assert on_day < later
    assert later == pytest.approx(pool_natural_decay(runs(0.0, 10.0, 20.0), day=50.0).natural_decay.uncertainty)


def test_campaigns_reach_the_promise():
    """A small part of the study `tests/studies/few_trials/plan_precision.py`, whose table has all cases."""
    cell = precision_of(CASES[1], 20, np.random.default_rng(2))
    assert cell["promised"] >= 0.75  # 90 % within two standard errors of 20 campaigns
    assert cell["held"] >= 0.85
