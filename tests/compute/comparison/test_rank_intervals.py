"""Intervals of ranks and groups of units that cannot be told apart."""

import math
import time
from statistics import NormalDist

import numpy as np
import pytest

from app.compute.comparison.difference import compare_clean_air
from app.compute.comparison.rank_intervals import rank_by_clean_air, rank_by_measured
from app.compute.comparison.setting_in_room import SettingInRoom
from app.compute.statistics.measured import Measured

ROOM = Measured(30.0, 1.0)
NATURAL = Measured(0.5, 0.05)


def settings(*rates, uncertainty=0.1, natural=NATURAL, degrees=math.inf):
    return {
        number: SettingInRoom(Measured(rate, uncertainty, degrees), natural, 1, ROOM, 1)
        for number, rate in enumerate(rates, start=1)
    }


def ranks(table):
    return {row.key: (row.place, row.rank_low_95, row.rank_high_95) for row in table.rows}


def test_units_far_apart_have_one_rank_each():
    table = rank_by_clean_air(settings(2.0, 8.0, 5.0))
    assert [row.key for row in table.rows] == [2, 3, 1]
    assert ranks(table) == {2: (1, 1, 1), 3: (2, 2, 2), 1: (3, 3, 3)}
    assert table.groups == ()


def test_units_that_are_alike_share_their_ranks():
    table = rank_by_clean_air(settings(5.0, 5.05, 9.0, 4.95))
    assert ranks(table)[3] == (1, 1, 1)
    assert all(ranks(table)[key][1:] == (2, 4) for key in (1, 2, 4))
    assert table.groups == ((2, 1, 4),)
    assert table.cannot_be_told_apart(1, 4)
    assert not table.cannot_be_told_apart(1, 3)


def test_groups_overlap_where_the_middle_is_like_both_ends():
    table = rank_by_measured({1: Measured(10.0, 1.0), 2: Measured(12.0, 1.0), 3: Measured(14.0, 1.0)})
    assert table.groups == ((3, 2), (2, 1))
    assert [row.not_told_apart_from for row in table.rows] == [1, 2, 1]


def test_those_that_one_is_like_are_named_in_order():
    table = rank_by_clean_air(settings(5.0, 5.05, 9.0, 4.95), not_measurable=[7])
    assert (table.like(1), table.like(4), table.like(3), table.like(7)) == ((2, 4), (2, 1), (), ())
    for row in table.rows[:4]:
        others = [other.key for other in table.rows[:4] if other.key != row.key]
        assert table.like(row.key) == tuple(key for key in others if table.cannot_be_told_apart(row.key, key))
        assert len(table.like(row.key)) == row.not_told_apart_from


def test_a_shared_natural_decay_does_not_blur_the_order():
    """The same natural decay, however uncertain, is taken from each rate alike."""
    sharp = rank_by_clean_air(settings(4.0, 5.0, natural=Measured(0.5, 0.001)))
    vague = rank_by_clean_air(settings(4.0, 5.0, natural=Measured(0.5, 2.0)))
    assert ranks(sharp) == ranks(vague) == {2: (1, 1, 1), 1: (2, 2, 2)}


def test_natural_decays_of_their_own_do_blur_it():
    apart = {
        1: SettingInRoom(Measured(4.0, 0.1), Measured(0.5, 2.0), 1, ROOM, 1),
        2: SettingInRoom(Measured(5.0, 0.1), Measured(0.4, 2.0), 2, ROOM, 1),
    }
    table = rank_by_clean_air(apart)
    assert ranks(table) == {2: (1, 1, 2), 1: (2, 1, 2)}
    assert table.cannot_be_told_apart(1, 2)


RUNS = (((11, 0.4), (12, 0.4), (13, 0.2)), ((12, 0.5), (13, 0.5)))


@pytest.mark.parametrize("runs_known", [False, True])
def test_pairs_are_judged_as_the_comparison_of_two_judges_them(runs_known):
    """The table and the two-unit comparison must never disagree."""
    random = np.random.default_rng(8)
    many = {
        number: SettingInRoom(
            Measured(float(random.uniform(2, 6)), float(random.uniform(0.05, 0.5)), float(random.integers(2, 30))),
            Measured(0.5 + 0.1 * (number % 2), 0.2, 5),
            number % 2,
            Measured(30.0 + 10 * (number % 3), 1.0),
            number % 3,
            RUNS[number % 2] if runs_known else (),
        )
        for number in range(24)
    }
    table = rank_by_clean_air(many)
    pairs = [(one, other) for one in many for other in many if one < other]
    assert any(table.cannot_be_told_apart(*pair) for pair in pairs)
    assert not all(table.cannot_be_told_apart(*pair) for pair in pairs)
    for one, other in pairs:
        assert table.cannot_be_told_apart(one, other) != compare_clean_air(many[one], many[other]).told_apart


def test_pools_with_nearly_the_same_runs_hardly_blur_the_order():
    """Nine runs of ten in common; with pools of their own the two could not be told apart."""

    def two(first_runs, second_runs):
        natural = Measured(0.5, 0.5)
        return {
            1: SettingInRoom(Measured(4.0, 0.1), natural, 1, ROOM, 1, first_runs),
            2: SettingInRoom(Measured(5.0, 0.1), natural, 2, ROOM, 1, second_runs),
        }

    shared = rank_by_clean_air(two(tuple((run, 0.1) for run in range(10)), tuple((run, 0.1) for run in range(1, 11))))
    assert ranks(shared) == {2: (1, 1, 1), 1: (2, 2, 2)}
    assert not shared.cannot_be_told_apart(1, 2)
    apart = rank_by_clean_air(two(((1, 1.0),), ((2, 1.0),)))
    assert ranks(apart) == {2: (1, 1, 2), 1: (2, 1, 2)}
    assert apart.cannot_be_told_apart(1, 2)


def test_the_share_of_draws_in_which_two_change_places_is_that_of_the_normal_law():
    """Rank 2 enters the interval of the better of two once it is wrong in more than 2.5 % of draws: z = 1.96."""
    sigma = math.sqrt(2) * 1.0
    surely, barely = 2.3 * sigma, 1.7 * sigma
    assert NormalDist().cdf(-2.3) < 0.025 < NormalDist().cdf(-1.7)
    assert ranks(rank_by_measured({1: Measured(10 + surely, 1.0), 2: Measured(10, 1.0)}))[1] == (1, 1, 1)
    assert ranks(rank_by_measured({1: Measured(10 + barely, 1.0), 2: Measured(10, 1.0)}))[1] == (1, 1, 2)


def test_the_rank_interval_of_simulated_benches_holds_the_true_rank():
    """Twelve units, 400 benches with known true rates: the true rank lies inside in at least 93 % of cases."""
    random = np.random.default_rng(31)
    truth = np.linspace(2.0, 6.0, 12)
    inside = 0
    for _ in range(400):
        seen = truth + random.normal(0, 0.4, 12)
        table = rank_by_measured({number: Measured(float(value), 0.4) for number, value in enumerate(seen)})
        inside += sum(row.rank_low_95 <= 12 - row.key <= row.rank_high_95 for row in table.rows)
    assert inside / 4_800 > 0.93


def test_few_degrees_of_freedom_widen_the_ranks():
    values = {number: 10.0 + number for number in range(8)}
    sure = rank_by_measured({key: Measured(v, 0.4) for key, v in values.items()})
    unsure = rank_by_measured({key: Measured(v, 0.4, 1.0) for key, v in values.items()})
    width = [sum(row.rank_high_95 - row.rank_low_95 for row in table.rows) for table in (sure, unsure)]
    assert width[1] > width[0]


def test_what_cannot_be_measured_comes_after_all_that_can_and_is_not_ranked_by_noise():
    table = rank_by_clean_air(settings(2.0, 3.0), not_measurable=[9, 7])
    assert [row.key for row in table.rows] == [2, 1, 7, 9]
    assert ranks(table)[7] == ranks(table)[9] == (None, 3, 4)


def test_lowest_first_for_quantities_where_less_is_better():
    table = rank_by_measured({1: Measured(55.0, 0.5), 2: Measured(40.0, 0.5)}, lowest_first=True)
    assert [row.key for row in table.rows] == [2, 1]
    assert ranks(table) == {2: (1, 1, 1), 1: (2, 2, 2)}


def test_the_same_bench_gives_the_same_intervals_whatever_the_order_it_came_in():
    forward = settings(*np.linspace(3.0, 5.0, 15), uncertainty=0.2, degrees=4)
    backward = dict(reversed(list(forward.items())))
    assert rank_by_clean_air(forward).rows == rank_by_clean_air(backward).rows


def test_an_empty_bench_has_an_empty_order():
    table = rank_by_clean_air({})
    assert (table.rows, table.groups) == ((), ())
    assert ranks(rank_by_measured({}, not_measurable=[3])) == {3: (None, 1, 1)}


def test_a_thousand_units_take_less_than_a_second():
    """Wall time on a shared two-core machine; the best of three, to leave out what others do."""
    random = np.random.default_rng(4)
    bench = settings(*random.uniform(0.6, 10.0, 1_000), degrees=12.0)
    took = []
    for _ in range(3):
        began = time.perf_counter()
        rank_by_clean_air(bench)
        took.append(time.perf_counter() - began)
    assert min(took) < 1.0


def test_a_unit_in_both_lists_is_refused():
    message = r"^Units \[1\] are given as measured and as not measurable; each can be only one\.$"
    with pytest.raises(ValueError, match=message):
        rank_by_clean_air(settings(2.0), not_measurable=[1])


def test_a_pool_with_two_values_is_refused():
    two = {
        1: SettingInRoom(Measured(4.0, 0.1), Measured(0.5, 0.1), 1, ROOM, 1),
        2: SettingInRoom(Measured(5.0, 0.1), Measured(0.6, 0.1), 1, ROOM, 1),
    }
    with pytest.raises(ValueError, match=r"^Two settings share 1 but have different values for it; one was needed\.$"):
        rank_by_clean_air(two)


def test_asking_for_an_unmeasured_unit_is_refused():
    table = rank_by_clean_air(settings(2.0, 4.0), not_measurable=[5])
    with pytest.raises(ValueError, match=r"^Unit 5 is not among the 2 measured units of this order\.$"):
        table.cannot_be_told_apart(1, 5)


def test_an_error_that_one_meter_makes_in_all_levels_moves_no_rank():
    """Levels of one class-2 meter: its error shifts them all; with a meter each it may reorder them."""
    levels = {1: Measured(40.0, 0.3), 2: Measured(42.0, 0.3), 3: Measured(44.0, 0.3)}
    one_meter = rank_by_measured(levels, lowest_first=True, shared=dict.fromkeys(levels, ("meter 1", 1.5)))
    assert ranks(one_meter) == {1: (1, 1, 1), 2: (2, 2, 2), 3: (3, 3, 3)}
    assert one_meter.groups == ()
    own_meters = rank_by_measured(levels, lowest_first=True, shared={key: (f"meter {key}", 1.5) for key in levels})
    assert ranks(own_meters)[2][1:] == (1, 3)
    assert own_meters.cannot_be_told_apart(1, 2)
    assert not one_meter.cannot_be_told_apart(1, 2)
