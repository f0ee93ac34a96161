"""Choice of empty-room runs for a trial."""

import pytest

from app.compute.clean_air.empty_room_runs import Limits, TrialConditions
from app.compute.clean_air.empty_room_runs import choose_runs as choose_for_trials
from app.compute.clean_air.natural_decay import EmptyRoomRun
from app.compute.statistics.measured import Measured


def run(number, day=100.0, humidity=None, start=None):
    return EmptyRoomRun(number, Measured(0.5, 0.02), day, humidity, start)


def choose_runs(runs, *, day, stale_after_days, humidity=None, start=None):
    (choice,) = choose_for_trials(runs, [TrialConditions(day, humidity, start)], Limits(stale_after_days))
    return choice


def ids(choice):
    return [r.run_id for r in choice.chosen]


def unlike(choice):
    return {r.run_id: (r.code, r.reason) for r in choice.unlike}


def test_runs_outside_the_dates_are_left_out():
    choice = choose_runs([run(1, 90), run(2, 300), run(3, 10)], day=100, stale_after_days=60)
    assert ids(choice) == [1]
    assert choice.number_unlike == 0
    assert not choice.stale
    assert [note.code for note in choice.notes] == ["natural_decay_single_run"]


def test_a_run_after_the_trial_serves_as_one_before():
    assert ids(choose_runs([run(1, 101)], day=100, stale_after_days=5)) == [1]


def test_where_all_are_stale_the_nearest_serve_and_it_is_said():
    choice = choose_runs([run(1, 300), run(2, 300), run(3, 900)], day=100, stale_after_days=60)
    assert ids(choice) == [1, 2]
    assert choice.stale
    note, *_ = choice.notes
    assert (note.code, note.severity, note.value, note.limit) == ("natural_decay_stale", "care", 200, 60)
    assert note.message == (
        "The closest empty-room run is 200 days from the trial; the limit is 60 days. The room may "
        "have changed since. Do a new empty-room run."
    )


def test_runs_at_another_humidity_are_left_out():
    runs = [run(1, humidity=40.0), run(2, humidity=62.0), run(3)]
    choice = choose_runs(runs, day=100, stale_after_days=60, humidity=45.0)
    assert ids(choice) == [1, 3]
    assert unlike(choice)[2] == ("other_humidity", "17 percentage points of humidity from the trial; the limit is 15")


def test_where_no_run_is_alike_in_humidity_all_serve_and_it_is_said():
    choice = choose_runs([run(1, humidity=30.0)], day=100, stale_after_days=60, humidity=70.0)
    assert ids(choice) == [1]
    note, *_ = choice.notes
    assert note.code == "natural_decay_other_humidity"
    assert "differs from the trial by 40 percentage points" in note.message
    assert "limit is 15" in note.message


def test_runs_from_another_start_level_are_left_out():
    runs = [run(1, start=200.0), run(2, start=20.0), run(3, start=900.0)]
    choice = choose_runs(runs, day=100, stale_after_days=60, start=250.0)
    assert ids(choice) == [1]
    assert unlike(choice)[2] == (
        "other_start_level",
        "start level differs from the trial's by a factor of 12.5; the limit is 3",
    )
    assert unlike(choice)[3] == (
        "other_start_level",
        "start level differs from the trial's by a factor of 3.6; the limit is 3",
    )


def test_where_no_run_began_alike_all_serve_and_it_is_said():
    choice = choose_runs([run(1, start=20.0)], day=100, stale_after_days=60, start=250.0)
    assert ids(choice) == [1]
    note, *_ = choice.notes
    assert note.code == "natural_decay_other_start_level"
    assert "12.5 times above or below" in note.message


def test_without_any_run_the_note_says_what_to_do():
    choice = choose_runs([], day=100, stale_after_days=60)
    assert choice.chosen == ()
    assert choice.notes[0].code == "natural_decay_missing"
    assert "the clean air delivery rate is not known" in choice.notes[0].message
    assert choice.notes[0].message.endswith("Do an empty-room run in the same room.")


@pytest.mark.parametrize(
    ("limits", "message"),
    [
        ((0,), r"^Runs go stale after 0 days; the number must be above zero\.$"),
        ((5, 0.0), r"^The humidity limit is 0\.0 percentage points; it must be above zero\.$"),
        ((5, 15.0, 0.5), r"^The start level factor is 0\.5; it must be 1 or above\.$"),
    ],
)
def test_limits_that_cannot_be_are_refused(limits, message):
    with pytest.raises(ValueError, match=message):
        Limits(*limits)


def test_many_trials_are_chosen_for_as_each_alone_and_the_first_three_excluded_runs_are_named():
    runs = [
        run(n, day, humidity, start)
        for n, (day, humidity, start) in enumerate(
            [(0, 40, 200), (30, 80, 210), (60, 45, 20), (90, None, 900), (300, 50, 30), (95, 81, None), (99, 82, 150)]
        )
    ]
    trials = [
        TrialConditions(float(day), humidity, start)
        for day in (0, 50, 100, 400)
        for humidity in (None, 42.0, 99.0)
        for start in (None, 0.0, 180.0, 5000.0)
    ]
    together = list(choose_for_trials(runs, trials, Limits(120.0)))
    for trial, choice in zip(trials, together, strict=True):
        (alone,) = choose_for_trials(runs, [trial], Limits(120.0))
        assert alone == choice
        if not choice.stale:
            near = [r for r in runs if abs(r.day - trial.day) <= 120.0]
            assert len(choice.chosen) + choice.number_unlike == len(near)
        assert len(choice.unlike) == min(choice.number_unlike, 3)
    assert max(choice.number_unlike for choice in together) > 3


def test_a_single_run_and_one_far_in_time_are_noted():
    far = choose_runs([run(1, 100), run(2, 101)], day=130, stale_after_days=60)
    assert [(note.code, note.severity) for note in far.notes] == [("natural_decay_far_in_time", "care")]
    assert far.notes[0].message == (
        "The closest empty-room run is 29 days from the trial. How much the room changed since is assumed, and the "
        "interval is wider for it. Do an empty-room run within 14 days."
    )
    single = choose_runs([run(1, 100)], day=101, stale_after_days=60)
    assert [(note.code, note.severity) for note in single.notes] == [("natural_decay_single_run", "fine")]
    assert single.notes[0].message == (
        "Only one empty-room run serves this trial, so the spread of the natural decay between days is assumed. Do "
        "empty-room runs on two more days."
    )
    assert choose_runs([run(1, 100), run(2, 101)], day=110, stale_after_days=60).notes == ()
