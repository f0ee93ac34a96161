"""Simultaneous rank intervals and groups of statistical ties."""

import math
from statistics import NormalDist

import numpy as np
import pytest

from app.compute.comparison.difference import compare_clean_air
from app.compute.comparison.rank_intervals import rank_by_clean_air, rank_by_measured
from app.compute.comparison.setting_in_room import SettingInRoom
from app.compute.statistics.measured import Measured
from tests.studies.joint_ranks import CASES, RESULT, Case, simulate

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
    assert table.is_tie(1, 4)
    assert not table.is_tie(1, 3)


def test_groups_overlap_where_the_middle_is_like_both_ends():
    table = rank_by_measured({1: Measured(10.0, 1.0), 2: Measured(12.0, 1.0), 3: Measured(14.0, 1.0)})
    assert table.groups == ((3, 2), (2, 1))
    assert [row.not_told_apart_from for row in table.rows] == [1, 2, 1]


def test_those_that_one_is_like_are_named_in_order():
    table = rank_by_clean_air(settings(5.0, 5.05, 9.0, 4.95), not_measurable=[7])
    assert (table.like(1), table.like(4), table.like(3), table.like(7)) == ((2, 4), (2, 1), (), ())
    for row in table.rows[:4]:
        others = [other.key for other in table.rows[:4] if other.key != row.key]
        assert table.like(row.key) == tuple(key for key in others if table.is_tie(row.key, key))
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
    assert table.is_tie(1, 2)


RUNS = (((11, 0.4), (12, 0.4), (13, 0.2)), ((12, 0.5), (13, 0.5)))


@pytest.mark.parametrize("runs_known", [False, True])
def test_two_units_are_judged_as_their_comparison_judges_them_and_many_more_carefully(runs_known):
    """For two units the ranking equals their comparison; for many it is more conservative."""
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
    assert any(table.is_tie(*pair) for pair in pairs)
    assert not all(table.is_tie(*pair) for pair in pairs)
    more_careful = 0
    for one, other in pairs:
        alone = compare_clean_air(many[one], many[other]).told_apart
        of_two = rank_by_clean_air({one: many[one], other: many[other]})
        assert of_two.is_tie(one, other) != alone
        assert table.is_tie(one, other) or alone
        more_careful += alone and table.is_tie(one, other)
    assert more_careful > 10


def test_pools_with_nearly_the_same_runs_hardly_blur_the_order():
    """Nine of ten runs are shared; with separate pools the two would be statistical ties."""

    def two(first_runs, second_runs):
        natural = Measured(0.5, 0.5)
        return {
            1: SettingInRoom(Measured(4.0, 0.1), natural, 1, ROOM, 1, first_runs),
            2: SettingInRoom(Measured(5.0, 0.1), natural, 2, ROOM, 1, second_runs),
        }

    shared = rank_by_clean_air(two(tuple((run, 0.1) for run in range(10)), tuple((run, 0.1) for run in range(1, 11))))
    assert ranks(shared) == {2: (1, 1, 1), 1: (2, 2, 2)}
    assert not shared.is_tie(1, 2)
    apart = rank_by_clean_air(two(((1, 1.0),), ((2, 1.0),)))
    assert ranks(apart) == {2: (1, 1, 2), 1: (2, 1, 2)}
    assert apart.is_tie(1, 2)


def test_two_units_are_in_order_beyond_the_95_percent_point_of_the_normal_distribution():
    sigma = math.sqrt(2) * 1.0
    limit = NormalDist().inv_cdf(0.975)
    surely, barely = (limit + 0.01) * sigma, (limit - 0.01) * sigma
    assert ranks(rank_by_measured({1: Measured(10 + surely, 1.0), 2: Measured(10, 1.0)}))[1] == (1, 1, 1)
    assert ranks(rank_by_measured({1: Measured(10 + barely, 1.0), 2: Measured(10, 1.0)}))[1] == (1, 1, 2)


@pytest.mark.parametrize("number", [3, 10, 30])
def test_units_with_one_error_need_the_studentized_range_to_be_put_in_order(number):
    """Two units beyond all chance at once: the 90 % point of the range of so many normal deviates, of which the wrong
    end is first half the time (Tukey's studentized range, from scipy)."""
    from scipy.stats import studentized_range

    between = studentized_range.ppf(0.90, number, np.inf)
    middle = dict.fromkeys(range(number - 2), Measured(10.0, 1.0))

    def extremes(apart):
        table = rank_by_measured({**middle, 98: Measured(10 + apart / 2, 1.0), 99: Measured(10 - apart / 2, 1.0)})
        return table.is_tie(98, 99)

    assert extremes(between * 0.94)
    assert not extremes(between * 1.06)


def test_what_is_in_order_beyond_doubt_lets_the_rest_be_judged_more_sharply():
    """Step-down: of twelve units ten are far from all others, so the two in the middle are judged by themselves."""
    far = {number: Measured(100.0 * number, 1.0) for number in range(12) if number != 6}
    near = Measured(500.0 + 2.0 * math.sqrt(2), 1.0)  # unit 5 has 500
    table = rank_by_measured({**far, 6: near})
    assert not table.is_tie(5, 6)
    assert all(row.rank_low_95 == row.rank_high_95 for row in table.rows)


def test_by_holm_a_large_bench_needs_the_share_of_the_level_that_its_pairs_leave():
    """50 units, 1225 pairs: the largest difference is judged at 0.05 / 1225, one-sided."""
    limit = NormalDist().inv_cdf(1 - 0.05 / 1225) * math.sqrt(2)
    equal = dict.fromkeys(range(48), Measured(10.0, 1.0))
    for factor, tied in ((0.99, True), (1.01, False)):
        ends = {98: Measured(10 + factor * limit / 2, 1.0), 99: Measured(10 - factor * limit / 2, 1.0)}
        assert rank_by_measured({**equal, **ends}).is_tie(98, 99) == tied


@pytest.mark.parametrize("units", [10, 25])
def test_the_order_of_simulated_benches_holds_as_a_whole(units):
    """Nearly equal units, the hardest case: in 93 % of 200 benches or more no pair is in the wrong order, and in some
    it is. A method that judges each pair alone holds in less than half of such benches."""
    outcome = simulate(Case("test", units, "nearly equal"), 200)
    assert 0.93 <= outcome.order < 1.0
    assert outcome.ranks >= outcome.order


def test_the_committed_study_met_its_requirement():
    lines = RESULT.read_text(encoding="utf-8").splitlines()
    assert lines[-1] == "all met"
    assert sum(line.startswith(("known errors", "20 degrees", "3 to 30", "shared")) for line in lines) == len(CASES)


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
        table.is_tie(1, 5)


def test_an_error_that_one_meter_makes_in_all_levels_moves_no_rank():
    """Levels of one class-2 meter: its error shifts them all; with a meter each it may reorder them."""
    levels = {1: Measured(40.0, 0.3), 2: Measured(42.0, 0.3), 3: Measured(44.0, 0.3)}
    one_meter = rank_by_measured(levels, lowest_first=True, shared=dict.fromkeys(levels, ("meter 1", 1.5)))
    assert ranks(one_meter) == {1: (1, 1, 1), 2: (2, 2, 2), 3: (3, 3, 3)}
    assert one_meter.groups == ()
    own_meters = rank_by_measured(levels, lowest_first=True, shared={key: (f"meter {key}", 1.5) for key in levels})
    assert ranks(own_meters)[2][1:] == (1, 3)
    assert own_meters.is_tie(1, 2)
    assert not one_meter.is_tie(1, 2)


def test_units_of_one_logger_are_ranked_apart_although_its_linearity_is_uncertain():
    def settings(loggers):
        natural, room = Measured(0.5, 0.0), Measured(30.0, 0.0)
        return {
            key: SettingInRoom(
                Measured(k, math.hypot(0.02, 0.03 * k)), natural, 1, room, 1, (), False, logger, 0.03 * k
            )
            for key, (k, logger) in enumerate(zip((4.0, 4.2, 4.4), loggers, strict=True))
        }

    assert [row.rank_high_95 - row.rank_low_95 for row in rank_by_clean_air(settings((1, 1, 1))).rows] == [0, 0, 0]
    assert all(row.not_told_apart_from for row in rank_by_clean_air(settings((1, 2, 3))).rows)
