"""The sentences of an answer against the numbers that they are made from."""

from dataclasses import replace

import pytest

from app.compute.planning.answer import Answer, Known, RunsOfSetting, Status
from app.compute.planning.wording import answer_text, assumption_texts, figure_text, help_texts, percent

KNOWN = Known(
    room="Room A",
    channel="pm2_5",
    between_trials=0.05,
    degrees_of_freedom=5.0,
    source="assumed 5 % between repeats (common practice, no source)",
    mostly_assumed=True,
    natural_per_h=0.31,
    natural_uncertainty=(0.0291, 0.0412),
    volume_share=0.027,
    most_empty_runs=10,
)
RATE = Answer(
    goal="rate",
    status="runs",
    known=KNOWN,
    wanted=0.05,
    now=0.1234,
    then=0.04812,
    runs=(RunsOfSetting(7, 3, "Maker A Model 1 at “high”", 1, 6, 40),),
    empty_runs=3,
    empty_minutes=90,
)


def test_a_rate_states_runs_minutes_promise_and_today():
    assert answer_text(RATE) == (
        "For the rate of Maker A Model 1 at “high” within ±5 %, do 6 more trials of Maker A Model 1 at “high” of about "
        "40 min and 3 empty-room runs of about 90 min. In 9 of 10 campaigns the interval is then ±4.9 % or narrower; "
        "today it is ±13 %."
    )


def test_a_half_width_is_never_rounded_below_itself_and_a_power_never_above():
    assert (percent(0.0401), percent(0.8999, up=False)) == ("4.1", "89")
    difference = replace(RATE, goal="difference", now=0.899, then=0.9999)
    assert (figure_text(difference, difference.now), figure_text(difference, difference.then)) == ("89", "over 99")


@pytest.mark.parametrize(
    ("volume", "begins"),
    [(0.027, "Not even 40 more trials and 10 empty-room runs bring"), (0.06, "No number of runs brings")],
)
def test_only_a_floor_above_the_goal_is_called_out_of_reach_for_any_number(volume: float, begins: str):
    asked = replace(RATE, status="not by runs", then=0.066, known=replace(KNOWN, volume_share=volume))
    assert answer_text(asked).startswith(f"{begins} the rate of Maker A Model 1 at “high” to ±5 %.")
    assert "give ±6.6 % in 9 of 10 campaigns" in answer_text(asked)
    assert any(f"±{percent(volume)} %" in sentence for sentence in help_texts(asked))


def test_an_assumed_spread_is_flagged():
    assert any("mostly assumed" in sentence for sentence in assumption_texts(RATE))
    known = replace(KNOWN, mostly_assumed=False, source="repeats on this bench: 30 trials in 12 groups")
    texts = assumption_texts(replace(RATE, known=known))
    assert not any("mostly assumed" in sentence for sentence in texts)
    assert texts[0] == (
        "Spread between trials: 5 % of the rate (repeats on this bench: 30 trials in 12 groups, 5 degrees of freedom)."
    )


def test_natural_decay_is_stated_with_its_growth():
    found = next(sentence for sentence in assumption_texts(RATE) if sentence.startswith("Natural decay"))
    assert "0.31 per hour, known to ±0.029" in found
    assert "±0.041 thirty days later" in found


DIFFERENCE = replace(
    RATE,
    goal="difference",
    wanted=0.9,
    now=0.41,
    then=0.917,
    runs=(RunsOfSetting(7, 3, "A at “high”", 1, 4, 40), RunsOfSetting(8, 4, "B at “high”", 2, 1, 30)),
    empty_runs=2,
    known=replace(KNOWN, difference_share=0.1, difference_is_measured=True, least_share=0.034),
)


def test_a_difference_states_power_then_and_today():
    assert answer_text(DIFFERENCE) == (
        "To tell A at “high” from B at “high” with 90 % power, do 4 more trials of A at “high” of about 40 min, 1 more "
        "trial of B at “high” of about 30 min and 2 empty-room runs of about 90 min. The power is then 91 % for a "
        "difference of 10 % as measured; today it is 41 %."
    )
    out_of_reach = answer_text(replace(DIFFERENCE, status="not by runs"))
    assert "not even with 80 further trials, which detect a difference of 3.4 %." in out_of_reach


@pytest.mark.parametrize("status", ["known", "first runs"])
@pytest.mark.parametrize("goal", [RATE, DIFFERENCE])
def test_a_status_without_a_plan_promises_nothing(goal: Answer, status: Status):
    text = answer_text(replace(goal, status=status))
    assert text.startswith("No further run is needed" if status == "known" else "Too little is known to plan")
    assert "9 of 10" not in text


def test_units_whose_trials_differ_are_named():
    asked = replace(RATE, known=replace(KNOWN, unlike=("Maker A Model 1 at “high”",)))
    assert help_texts(asked)[0].startswith("The trials of Maker A Model 1 at “high” differ by more than repeats")
