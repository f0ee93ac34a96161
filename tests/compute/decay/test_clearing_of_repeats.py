"""Times to clear over repeats, runs that never cleared as lower bounds; and the survival curve's bounds."""

import pytest

from app.compute.decay.clearing_of_repeats import combine_times_to_clear
from app.compute.decay.result import TimeToClear
from app.compute.statistics.survival import survival_curve


def cleared(minutes):
    return TimeToClear(True, minutes, None, None, 10.0)


def not_cleared(minutes):
    return TimeToClear(False, None, minutes, None, 10.0)


def test_one_cleared_run_is_its_own_median_without_an_interval():
    combined = combine_times_to_clear([cleared(31.0)])
    assert (combined.median_min, combined.low_95_min, combined.high_95_min) == (31.0, None, None)
    assert combined.not_before_min is None


def test_the_median_of_two_is_the_middle():
    assert combine_times_to_clear([cleared(20.0), cleared(30.0)]).median_min == 25.0


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
    assert with_short_run.median_min == complete.median_min == 40.0


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
