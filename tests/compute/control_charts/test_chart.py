"""The chart: phases, points, and shifts of simulated rooms."""

from dataclasses import replace

import numpy as np
import pytest

from app.compute.control_charts.chart import control_chart
from app.compute.control_charts.limits import ChartRun
from app.compute.control_charts.reference import REFERENCE_RUNS, ReferencePeriod


def steady(number: int, level: float = 0.5, first: int = 0, seed: int = 1) -> list[ChartRun]:
    random = np.random.default_rng(seed)
    values = level + random.normal(0, 0.02, number)
    return [ChartRun(first + n, float(first + n), float(values[n]), 0.01) for n in range(number)]


@pytest.mark.parametrize("number", [0, 1, 2, REFERENCE_RUNS - 1])
def test_too_few_runs_have_no_limits(number: int):
    chart = control_chart(steady(number))
    assert len(chart.points) == number
    assert not chart.outside
    assert not chart.shifts
    if number:
        assert (chart.phases[0].limits, chart.phases[0].found, chart.phases[0].needed) == (None, number, REFERENCE_RUNS)


def test_a_reference_that_is_just_complete_has_limits_and_no_average():
    chart = control_chart(steady(REFERENCE_RUNS))
    assert chart.phases[0].limits is not None
    assert {point.ewma for point in chart.points} == {None}
    assert not chart.shifts


def test_runs_that_are_all_equal_are_in_control():
    chart = control_chart([ChartRun(n, float(n), 0.5, 0.01) for n in range(60)])
    assert not chart.outside
    assert not chart.shifts
    assert chart.phases[0].limits is not None


def test_later_runs_never_move_the_limits():
    runs = steady(60)
    limits = control_chart(runs[:20]).phases[0].limits
    far = [replace(run, value=5.0) for run in runs[20:]]
    assert control_chart([*runs[:20], *far]).phases[0].limits == limits


def test_a_removed_reference_run_is_replaced_by_the_next_one():
    runs = steady(30)
    limits = control_chart(runs[1:]).phases[0].limits
    assert limits is not None
    assert limits.run_ids == tuple(range(1, REFERENCE_RUNS + 1))


def test_the_order_of_the_runs_does_not_matter():
    runs = steady(40)
    assert control_chart(runs[::-1]) == control_chart(runs)


def test_a_lasting_change_is_found_and_dated():
    runs = [*steady(24), *steady(12, level=0.6, first=24, seed=2)]
    shift = control_chart(runs).present_shift
    assert shift is not None
    assert abs(shift.first.run_id - 24) <= 1
    assert shift.found.run_id <= 29
    assert shift.change.low_95 <= 0.1 <= shift.change.high_95


def test_a_change_that_ends_is_no_present_shift():
    chart = control_chart(
        [*steady(20), *steady(10, level=0.6, first=20, seed=2), *steady(20, level=0.5, first=30, seed=3)]
    )
    assert chart.present_shift is None
    ended = chart.shifts[0].ended
    assert ended is not None
    assert 30 <= ended.run_id <= 40


def test_one_odd_run_is_outside_its_limits_and_no_shift():
    runs = steady(40)
    runs[25] = replace(runs[25], value=3.0)
    chart = control_chart(runs)
    assert [point.run.run_id for point in chart.outside] == [25]
    assert not chart.shifts


def test_an_uncertain_run_has_wider_limits():
    runs = steady(30)
    runs[20] = replace(runs[20], uncertainty=0.2)
    chart = control_chart(runs)
    wide, narrow = ((point.high or 0) - (point.low or 0) for point in (chart.points[20], chart.points[21]))
    assert wide > 4 * narrow


def test_a_new_reference_period_begins_new_limits_and_leaves_the_earlier_ones():
    runs = [*steady(20), *steady(20, level=0.6, first=20, seed=2)]
    chart = control_chart(runs, [ReferencePeriod(20.0)])
    before, after = chart.phases
    assert before.limits == control_chart(runs[:20]).phases[0].limits
    assert after.limits is not None
    assert after.limits.centre == pytest.approx(0.6, abs=0.02)
    [shift] = chart.shifts
    assert (shift.restarted, shift.first.run_id) == (True, 20)
    assert chart.present_shift is None


def test_two_reference_periods_of_the_same_level_are_no_shift():
    chart = control_chart(steady(40), [ReferencePeriod(20.0)])
    assert not chart.shifts


def test_a_stated_period_takes_its_own_runs_alone():
    limits = control_chart(steady(40), [ReferencePeriod(0.0, 29.0)]).phases[0].limits
    assert limits is not None
    assert len(limits.run_ids) == 30


def test_a_stated_period_with_too_few_runs_has_no_limits():
    phase = control_chart(steady(40), [ReferencePeriod(0.0, 5.0)]).phases[0]
    assert (phase.limits, phase.found, phase.needed) == (None, 6, 12)


def test_a_period_in_the_future_changes_nothing():
    runs = steady(40)
    assert control_chart(runs, [ReferencePeriod(1000.0)]) == control_chart(runs)


def test_a_shift_ends_where_new_limits_begin():
    runs = [*steady(24), *steady(30, level=0.6, first=24, seed=2)]
    chart = control_chart(runs, [ReferencePeriod(34.0)])
    [shift] = chart.shifts
    assert shift.ended is not None
    assert shift.ended.run_id == 34
    assert chart.present_shift is None


def test_ten_thousand_runs_have_a_point_each():
    chart = control_chart(steady(10_000))
    assert len(chart.points) == 10_000
    assert len(chart.outside) < 100
