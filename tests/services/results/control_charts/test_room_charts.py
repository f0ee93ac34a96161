"""Charts of a room from stored results."""

from datetime import UTC, date, datetime, timedelta

import pytest
from sqlalchemy.orm import Session

from app.compute.control_charts.reference import REFERENCE_RUNS
from app.errors import InvalidValue
from app.services.bench.definitions import NewCheckUnit, NewRoomChange
from app.services.bench.room_changes import add_room_change, mark_check_unit
from app.services.bench.rooms import get_room
from app.services.results.control_charts.room_charts import RoomCharts, Source, room_charts
from app.services.results.control_charts.words import (
    CHECK_TERMS,
    NATURAL_TERMS,
    chart_finding,
    point_words,
    removed_words,
    shift_advice,
    shift_words,
)
from app.storage.models.trials import Trial
from tests.conftest import SmallBench
from tests.sample_data.control_bench import FIRST, WEEKS, add_runs, shifted, steady


def charts_of(session: Session, bench: SmallBench, **asked: str) -> RoomCharts:
    return room_charts(Source(session), get_room(session, bench.room_id), **asked)


@pytest.mark.parametrize("number", [0, 1, 2])
def test_a_room_with_few_runs_says_how_many_are_missing(session: Session, small_bench: SmallBench, number: int):
    add_runs(session, small_bench.room_id, steady(number))
    words = chart_finding(charts_of(session, small_bench).natural_decay, NATURAL_TERMS)
    missing = REFERENCE_RUNS - number
    assert words == (
        f"{number} of 16 reference runs: limits appear after {missing} more empty-room runs."
        if number
        else "No usable empty-room run yet."
    )


def test_a_steady_room_is_in_control(session: Session, small_bench: SmallBench):
    add_runs(session, small_bench.room_id, steady(30))
    words = chart_finding(charts_of(session, small_bench).natural_decay, NATURAL_TERMS)
    assert words == "In control: 14 empty-room runs since the reference period, none outside the limits and no shift."


def test_a_complete_reference_waits_for_the_first_run(session: Session, small_bench: SmallBench):
    add_runs(session, small_bench.room_id, steady(16))
    words = chart_finding(charts_of(session, small_bench).natural_decay, NATURAL_TERMS)
    assert words == "The 16 reference runs are complete; the next empty-room run is the first to check."


def test_a_shift_is_named_with_its_size_day_and_run(session: Session, small_bench: SmallBench):
    ids = add_runs(session, small_bench.room_id, shifted())
    chart = charts_of(session, small_bench).natural_decay
    shift = chart.present_shift
    assert shift is not None
    assert shift.first.run_id in ids[23:26]
    begun = (FIRST + timedelta(weeks=WEEKS * ids.index(shift.first.run_id))).date()
    found = (FIRST + timedelta(weeks=WEEKS * ids.index(shift.found.run_id))).date()
    words = shift_words(shift, NATURAL_TERMS)
    assert words.startswith(f"The natural decay shifted: since about {begun} it is 0.1")
    assert words.endswith(f"per hour higher on average, found with trial {shift.found.run_id} on {found}.")
    assert chart_finding(chart, NATURAL_TERMS).startswith(words)
    assert "begin new limits on that day" in shift_advice(shift)


def test_a_run_outside_is_named_with_its_limit(session: Session, small_bench: SmallBench):
    [*_, odd] = add_runs(session, small_bench.room_id, [*steady(20), 0.9])
    [point] = charts_of(session, small_bench).natural_decay.outside
    assert point.run.run_id == odd
    assert point_words(point, NATURAL_TERMS).startswith("0.900 ± 0.010 per hour is above the upper limit of 0.")
    assert chart_finding(charts_of(session, small_bench).natural_decay, NATURAL_TERMS) == (
        "1 of 5 empty-room runs lies outside the limits."
    )


def test_a_removed_reference_run_moves_the_limits_and_is_named(session: Session, small_bench: SmallBench):
    ids = add_runs(session, small_bench.room_id, steady(30))
    before = charts_of(session, small_bench)
    assert before.left_out == ()
    session.get_one(Trial, ids[4]).trashed_at = datetime(2026, 1, 1, tzinfo=UTC)
    session.flush()
    after = charts_of(session, small_bench)
    assert after.natural_decay.phases[0].limits != before.natural_decay.phases[0].limits
    assert after.left_out == (ids[4],)
    assert removed_words(after.left_out) == (
        f"Trial {ids[4]} in the reference period was excluded or deleted; the limits were computed without and differ "
        "from earlier ones."
    )
    assert removed_words(()) == ""


def test_a_run_removed_later_leaves_the_limits(session: Session, small_bench: SmallBench):
    ids = add_runs(session, small_bench.room_id, steady(30))
    limits = charts_of(session, small_bench).natural_decay.phases[0].limits
    session.get_one(Trial, ids[25]).excluded_at, session.get_one(Trial, ids[25]).excluded_why = FIRST, "window open"
    session.flush()
    after = charts_of(session, small_bench)
    assert (after.natural_decay.phases[0].limits, after.left_out) == (limits, ())


def test_new_limits_begin_with_a_change_and_leave_the_earlier_ones(session: Session, small_bench: SmallBench):
    add_runs(session, small_bench.room_id, [*steady(20), *steady(20, level=0.7, seed=3)])
    day = (FIRST + timedelta(weeks=WEEKS * 20)).date()
    new = NewRoomChange(changed_on=day, kind="sealing", words="new seal", new_limits=True)
    add_room_change(session, small_bench.room_id, new)
    chart = charts_of(session, small_bench).natural_decay
    assert [len(phase.points) for phase in chart.phases] == [20, 20]
    [shift] = chart.shifts
    assert shift.change.value == pytest.approx(0.2, abs=0.02)
    assert shift_words(shift, NATURAL_TERMS) == (
        f"From {day} on, the natural decay of the new reference period is {shift.change.value:.3f} ± "
        f"{shift.change.uncertainty:.3f} per hour higher than before."
    )
    assert shift_advice(shift) == "Compare trials across this day with care, or repeat them."


def test_a_stated_reference_that_is_too_short_says_so(session: Session, small_bench: SmallBench):
    add_runs(session, small_bench.room_id, steady(20))
    until = (FIRST + timedelta(weeks=5)).date()
    new = NewRoomChange(
        changed_on=FIRST.date(), kind="other", words="reference", new_limits=True, reference_until=until
    )
    add_room_change(session, small_bench.room_id, new)
    words = chart_finding(charts_of(session, small_bench).natural_decay, NATURAL_TERMS)
    assert words == "The stated reference period has 3 empty-room runs; limits need at least 12. Extend the period."


def test_aerosols_and_channels_have_charts_of_their_own(session: Session, small_bench: SmallBench):
    add_runs(session, small_bench.room_id, steady(4))
    add_runs(session, small_bench.room_id, steady(7, level=1.4), aerosol="dust")
    add_runs(session, small_bench.room_id, steady(2, level=0.3), channel="voc")
    assert len(charts_of(session, small_bench, aerosol="smoke").natural_decay.points) == 4
    assert len(charts_of(session, small_bench, aerosol="dust").natural_decay.points) == 7
    assert len(charts_of(session, small_bench, channel="voc").natural_decay.points) == 2
    assert charts_of(session, small_bench).key.aerosol == "dust"  # most runs of the main channel


def test_an_aerosol_without_runs_is_refused_by_name(session: Session, small_bench: SmallBench):
    add_runs(session, small_bench.room_id, steady(2))
    with pytest.raises(InvalidValue, match=r"no empty-room run with the aerosol 'dust'; choose one of: smoke\."):
        charts_of(session, small_bench, aerosol="dust")


def test_the_check_unit_has_its_own_chart_from_its_day_on(session: Session, small_bench: SmallBench):
    own = (small_bench.unit_id, small_bench.high_setting_id)
    add_runs(session, small_bench.room_id, steady(2))
    ids = add_runs(session, small_bench.room_id, steady(22, level=4.0), setting=own, clean_air_share_m3=30.0)
    add_runs(session, small_bench.room_id, [1.0], setting=(small_bench.unit_id, small_bench.low_setting_id))
    from_day = (FIRST + timedelta(weeks=WEEKS * 2)).date()
    mark_check_unit(session, small_bench.room_id, small_bench.high_setting_id, NewCheckUnit(valid_from=from_day))
    charts = charts_of(session, small_bench)
    assert [point.run.run_id for point in charts.check_unit.points] == ids[2:]
    assert charts.check_runs_without_rate == 0
    assert charts.check_unit.points[0].run.uncertainty == pytest.approx(0.01 * 30.0)
    assert chart_finding(charts.check_unit, CHECK_TERMS).startswith("In control: 4 runs of the check unit since")


def test_runs_of_the_check_unit_without_a_clean_air_rate_are_counted(session: Session, small_bench: SmallBench):
    add_runs(session, small_bench.room_id, [4.0, 4.1], setting=(small_bench.unit_id, small_bench.high_setting_id))
    mark = NewCheckUnit(valid_from=FIRST.date())
    mark_check_unit(session, small_bench.room_id, small_bench.high_setting_id, mark)
    charts = charts_of(session, small_bench)
    assert (len(charts.check_unit.points), charts.check_runs_without_rate) == (0, 2)


def test_a_new_check_unit_begins_limits_of_its_own(session: Session, small_bench: SmallBench):
    add_runs(session, small_bench.room_id, steady(2, level=0.1), first=FIRST + timedelta(weeks=40))
    for setting_id, level, first in (
        (small_bench.high_setting_id, 4.0, FIRST),
        (small_bench.low_setting_id, 2.0, FIRST + timedelta(weeks=60)),
    ):
        add_runs(
            session,
            small_bench.room_id,
            steady(17, level=level),
            setting=(small_bench.unit_id, setting_id),
            first=first,
            clean_air_share_m3=30.0,
        )
        mark_check_unit(session, small_bench.room_id, setting_id, NewCheckUnit(valid_from=first.date()))
    chart = charts_of(session, small_bench).check_unit
    centres = [phase.limits.centre for phase in chart.phases if phase.limits]
    assert centres == [pytest.approx(120, rel=0.05), pytest.approx(60, rel=0.05)]


def test_a_change_on_the_day_of_the_first_run_is_no_second_phase(session: Session, small_bench: SmallBench):
    add_runs(session, small_bench.room_id, steady(20))
    new = NewRoomChange(changed_on=date(2024, 1, 1), kind="other", words="begun", new_limits=True)
    add_room_change(session, small_bench.room_id, new)
    assert len(charts_of(session, small_bench).natural_decay.phases) == 1
