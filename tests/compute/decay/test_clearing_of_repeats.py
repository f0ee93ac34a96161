"""Times to clear over repeats, runs that never cleared as lower bounds; and the survival curve's bounds."""

import math

import pytest

from app.compute.decay.clearing_of_repeats import combine_times_to_clear, spread_of_times
from app.compute.decay.result import TimeToClear
from app.compute.statistics.repeatability import ASSUMED_BETWEEN_TRIALS
from app.compute.statistics.survival import survival_curve


def cleared(minutes, uncertainty=0.5):
    return TimeToClear(True, minutes, None, None, 10.0, uncertainty)


def not_cleared(minutes):
    return TimeToClear(False, None, minutes, None, 10.0)


def test_one_cleared_run_is_its_own_median_with_the_interval_of_the_assumed_spread():
    combined = combine_times_to_clear([cleared(31.0)])
    assert combined.median_min == pytest.approx(31.0)
    assert combined.low_95_min == pytest.approx(31.0 * math.exp(-1.96 * math.hypot(0.05, 0.5 / 31)), rel=0.01)
    assert combined.high_95_min == pytest.approx(31.0 * math.exp(1.96 * math.hypot(0.05, 0.5 / 31)), rel=0.01)
    assert (combined.not_before_min, combined.method) == (None, "log-normal")


def test_the_median_of_two_alike_is_their_geometric_mean():
    """With equal relative uncertainties; the interval is wider than the two runs are apart."""
    combined = combine_times_to_clear([cleared(28.0, 0.28), cleared(30.0, 0.30)])
    assert combined.median_min == pytest.approx(math.sqrt(28.0 * 30.0))
    assert combined.low_95_min < 28.0
    assert combined.high_95_min > 30.0


def test_from_six_runs_on_the_interval_is_that_of_the_survival_curve():
    times = [20.0, 22.0, 25.0, 27.0, 31.0, 36.0]
    curve = survival_curve(times, [True] * 6)
    combined = combine_times_to_clear([cleared(t) for t in times])
    assert (combined.median_min, combined.low_95_min, combined.high_95_min) == (26.0, 20.0, 36.0)
    assert (curve.median, curve.median_low_95, curve.median_high_95) == (26.0, 20.0, 36.0)
    assert combined.method == "Kaplan-Meier"
    assert combine_times_to_clear([cleared(t) for t in times[:5]]).method == "log-normal"


def test_with_six_to_eight_runs_it_is_no_narrower_than_that_of_the_model():
    """Seven runs alike by chance: the curve's interval is from 29.9 to 30.1, the assumed spread is 5 %."""
    alike = [cleared(29.9 + 0.05 * n) for n in range(7)]
    combined = combine_times_to_clear(alike)
    assert combined.median_min == pytest.approx(30.05)
    assert combined.high_95_min - combined.low_95_min > 1.0
    nine = combine_times_to_clear([cleared(29.9 + 0.05 * n) for n in range(9)])
    assert nine.high_95_min - nine.low_95_min < 0.5


def test_where_the_survival_curve_has_an_open_interval_the_model_closes_it():
    times = [cleared(20.0), cleared(22.0), cleared(25.0), cleared(27.0), not_cleared(28.0), not_cleared(29.0)]
    combined = combine_times_to_clear(times)
    assert combined.method == "log-normal"
    assert combined.low_95_min < combined.median_min < combined.high_95_min


def test_more_smoke_or_less_moves_the_time_less_where_the_clear_level_is_far_below():
    spread = ASSUMED_BETWEEN_TRIALS
    near, far = (spread_of_times(spread, 10.0, start).relative_sd for start in (30.0, 1000.0))
    assert near == pytest.approx(math.hypot(0.05, 0.2 / math.log(3)))
    assert far == pytest.approx(math.hypot(0.05, 0.2 / math.log(100)))
    assert spread_of_times(spread, 10.0, None) == spread


def test_where_half_never_cleared_there_is_no_median():
    combined = combine_times_to_clear([cleared(20.0), not_cleared(172.0)])
    assert combined.median_min is None
    assert combined.not_before_min == 96.0
    assert combined.censored_trials == 1


def test_runs_that_never_cleared_bound_the_median_from_below():
    combined = combine_times_to_clear([not_cleared(60.0), not_cleared(172.0), not_cleared(120.0)])
    assert combined.not_before_min == 120.0


def test_a_run_that_ended_early_does_not_pull_the_median_down():
    complete = combine_times_to_clear([cleared(30.0), cleared(40.0), cleared(50.0)])
    with_short_run = combine_times_to_clear([cleared(30.0), cleared(40.0), cleared(50.0), not_cleared(10.0)])
    assert with_short_run.median_min == pytest.approx(complete.median_min, rel=2e-3)


def test_no_trial_is_refused():
    with pytest.raises(ValueError, match=r"^A combined time to clear needs at least one trial and found none\.$"):
        combine_times_to_clear([])


def test_a_time_with_neither_value_nor_bound_is_refused():
    message = r"^A time to clear has neither a value nor the end of its run; one of them is needed\.$"
    with pytest.raises(ValueError, match=message):
        combine_times_to_clear([TimeToClear(True, None, None, None, 10.0)])


def test_with_no_event_the_curve_is_empty():
    curve = survival_curve([5.0, 9.0], [False, False])
    assert (curve.times, curve.median, curve.median_low_95, curve.median_high_95) == ((), None, None, None)


@pytest.mark.parametrize(
    ("times", "reached", "message"),
    [
        ([], [], r"^A survival curve needs at least one time and found none\.$"),
        ([1.0, 2.0], [True], r"^There are 2 times and 1 marks of what was reached; each needs one\.$"),
        ([1.0, -2.0], [True, True], r"^A time is -2\.0; each must be zero or above\.$"),
        ([float("nan")], [True], r"^A time is nan; each must be zero or above\.$"),
    ],
)
def test_times_that_cannot_be_are_refused(times, reached, message):
    with pytest.raises(ValueError, match=message):
        survival_curve(times, reached)
