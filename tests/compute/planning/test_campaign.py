"""The order of a campaign: brackets, days, chance and its seed."""

from collections import Counter

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.compute.planning.campaign import campaign


@settings(max_examples=60, deadline=None)
@given(
    trials=st.dictionaries(st.integers(1, 9), st.integers(0, 6), max_size=5),
    empty=st.integers(2, 5),
    runs_a_day=st.integers(2, 5),
    seed=st.integers(1, 999_999),
)
def test_every_campaign_holds_its_runs_bracketed_and_repeats_apart(trials, empty, runs_a_day, seed):
    found = campaign(trials, empty, runs_a_day=runs_a_day, seed=seed)
    number = Counter(run.setting for run in found)
    assert number[None] == empty
    assert {key: number[key] for key in trials} == trials
    assert found[0].setting is None
    assert found[-1].setting is None
    of_day = Counter(run.day for run in found)
    assert max(of_day.values()) <= runs_a_day
    assert sorted(of_day) == list(range(1, len(of_day) + 1))
    repeats = Counter((run.day, run.setting) for run in found if run.setting is not None)
    assert all(times == 1 for times in repeats.values())
    assert found == campaign(trials, empty, runs_a_day=runs_a_day, seed=seed)


def test_the_seed_decides_the_order():
    trials = {1: 3, 2: 3, 3: 3}
    orders = {tuple(run.setting for run in campaign(trials, 2, runs_a_day=4, seed=seed)) for seed in range(1, 30)}
    assert len(orders) > 20


def test_each_setting_is_as_often_before_as_after_another():
    """No unit has the better part of the day: over many seeds the first of two is each about as often."""
    first = Counter(
        next(run.setting for run in campaign({1: 1, 2: 1}, 2, runs_a_day=4, seed=seed) if run.setting is not None)
        for seed in range(1, 401)
    )
    assert 160 < first[1] < 240  # 200 within four standard deviations


def test_nothing_to_do_is_no_campaign():
    assert campaign({}, 0, runs_a_day=3, seed=1) == ()


def test_a_campaign_that_never_fits_is_refused():
    with pytest.raises(ValueError, match=r"^A day has 0 runs; it needs at least one\.$"):
        campaign({1: 1}, 2, runs_a_day=0, seed=1)
    with pytest.raises(ValueError, match=r"^A campaign of 500 runs takes more than 400 days; plan fewer runs\.$"):
        campaign({1: 498}, 2, runs_a_day=3, seed=1)
