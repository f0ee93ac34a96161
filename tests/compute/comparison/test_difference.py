"""Comparison of two quantities: shared errors cancel, ratios have Fieller's interval, and the wording follows the
interval.
"""

import math

import numpy as np
import pytest

from app.compute.comparison.difference import (
    compare_clean_air,
    compare_clearing_times,
    compare_measured,
    fieller_interval,
)
from app.compute.comparison.setting_in_room import SettingInRoom, natural_correlation
from app.compute.comparison.wording import faster, less, more_clean_air, quieter
from app.compute.statistics.measured import Measured
from app.compute.statistics.propagation import propagate

NATURAL = Measured(0.6, 0.2, 6)
ROOM = Measured(30.0, 1.5)


def setting(rate, uncertainty=0.1, *, natural=NATURAL, pool=1, volume=ROOM, room=1, degrees=math.inf):
    return SettingInRoom(Measured(rate, uncertainty, degrees), natural, pool, volume, room)


def test_a_shared_natural_decay_cancels_in_the_difference():
    """Against the general law of propagation with one common input for natural decay and one for the volume."""
    found = compare_clean_air(setting(6.0), setting(5.5))
    general = propagate(
        lambda x: x[3] * (x[0] - x[2]) - x[3] * (x[1] - x[2]), [6.0, 5.5, 0.6, 30.0], np.diag([0.01, 0.01, 0.04, 2.25])
    )
    assert found.difference.value == pytest.approx(15.0)
    assert found.difference.uncertainty == pytest.approx(general.uncertainties[0], rel=1e-7)
    assert found.told_apart


def test_with_empty_room_runs_of_their_own_the_same_two_cannot_be_told_apart():
    other = compare_clean_air(setting(6.0), setting(5.5, pool=2))
    general = propagate(
        lambda x: x[4] * (x[0] - x[2]) - x[4] * (x[1] - x[3]),
        [6.0, 5.5, 0.6, 0.6, 30.0],
        np.diag([0.01, 0.01, 0.04, 0.04, 2.25]),
    )
    assert other.difference.uncertainty == pytest.approx(general.uncertainties[0], rel=1e-7)
    assert not other.told_apart
    assert other.higher is None
    assert other.times is None


def test_pools_with_runs_in_common_cancel_in_part():
    """Against the general law with the covariance of two means of two runs each, one run in common."""
    first = SettingInRoom(Measured(6.0, 0.1), Measured(0.6, 0.2), 1, ROOM, 1, ((11, 0.5), (12, 0.5)))
    second = SettingInRoom(Measured(5.5, 0.1), Measured(0.5, 0.2), 2, ROOM, 1, ((12, 0.5), (13, 0.5)))
    assert natural_correlation(first, second) == pytest.approx(0.5)
    covariance = np.diag([0.01, 0.01, 0.04, 0.04, 2.25])
    covariance[2, 3] = covariance[3, 2] = 0.5 * 0.04
    general = propagate(lambda x: x[4] * (x[0] - x[2]) - x[4] * (x[1] - x[3]), [6.0, 5.5, 0.6, 0.5, 30.0], covariance)
    found = compare_clean_air(first, second)
    assert found.difference.uncertainty == pytest.approx(general.uncertainties[0], rel=1e-7)


def test_pools_without_a_common_run_are_independent():
    first = SettingInRoom(Measured(6.0, 0.1), NATURAL, 1, ROOM, 1, ((11, 1.0),))
    assert natural_correlation(first, SettingInRoom(Measured(5.5, 0.1), NATURAL, 2, ROOM, 1, ((12, 1.0),))) == 0.0
    assert natural_correlation(first, SettingInRoom(Measured(5.5, 0.1), NATURAL, 2, ROOM, 1)) == 0.0


def test_in_two_rooms_each_volume_counts():
    found = compare_clean_air(
        setting(6.0), setting(4.0, natural=Measured(0.4, 0.1), pool=2, volume=Measured(50, 1), room=2)
    )
    general = propagate(
        lambda x: x[4] * (x[0] - x[2]) - x[5] * (x[1] - x[3]),
        [6.0, 4.0, 0.6, 0.4, 30.0, 50.0],
        np.diag([0.01, 0.01, 0.04, 0.01, 2.25, 1.0]),
    )
    assert found.difference.value == pytest.approx(general.values[0])
    assert found.difference.uncertainty == pytest.approx(general.uncertainties[0], rel=1e-7)
    assert found.ratio is not None
    assert found.ratio.value == pytest.approx(162 / 180)


def test_the_ratio_in_one_room_does_not_depend_on_the_volume():
    small = compare_clean_air(setting(6.0), setting(3.0)).ratio
    large = compare_clean_air(
        setting(6.0, volume=Measured(90.0, 40.0)), setting(3.0, volume=Measured(90.0, 40.0))
    ).ratio
    assert small is not None
    assert large is not None
    assert small.interval_95 == pytest.approx(large.interval_95)


def test_the_ratio_interval_holds_the_middle_95_percent_of_sampled_ratios():
    """Monte Carlo of (k1 - n)/(k2 - n) with n drawn once for both; no published figure."""
    found = compare_clean_air(setting(6.0, natural=Measured(0.6, 0.2)), setting(3.0, natural=Measured(0.6, 0.2))).ratio
    random = np.random.default_rng(77)
    natural = random.normal(0.6, 0.2, 400_000)
    ratios = (random.normal(6.0, 0.1, 400_000) - natural) / (random.normal(3.0, 0.1, 400_000) - natural)
    assert found is not None
    assert np.quantile(ratios, [0.025, 0.975]) == pytest.approx(found.interval_95, rel=0.01)
    assert ratios.std() == pytest.approx(found.uncertainty, rel=0.05)


def test_the_fieller_interval_covers_the_true_ratio_as_it_should():
    """Coverage over 4,000 simulated pairs with 8 degrees of freedom, true ratio 1.5."""
    random = np.random.default_rng(12)
    covered = 0
    for _ in range(4_000):
        a, b = random.normal(3.0, 0.3), random.normal(2.0, 0.3)
        spread = 0.3 * math.sqrt(random.chisquare(8) / 8)
        interval = fieller_interval(a, b, spread**2, spread**2, 0.0, 8)
        covered += interval is None or interval[0] <= 1.5 <= interval[1]
    assert 0.94 < covered / 4_000 < 0.96


def test_swapping_the_two_turns_everything_round():
    one, other = compare_clean_air(setting(6.0), setting(4.0)), compare_clean_air(setting(4.0), setting(6.0))
    assert one.difference.value == pytest.approx(-other.difference.value)
    assert one.difference.uncertainty == pytest.approx(other.difference.uncertainty)
    assert (one.higher, other.higher) == ("first", "second")
    assert one.times is not None
    assert other.times is not None
    assert one.times.interval_95 == pytest.approx(other.times.interval_95)
    assert one.probability_first_higher == pytest.approx(1 - other.probability_first_higher)


def test_a_setting_against_itself_is_even():
    found = compare_clean_air(setting(5.0), setting(5.0))
    assert found.probability_first_higher == pytest.approx(0.5)
    assert not found.told_apart


def test_against_a_unit_that_does_nothing_only_a_lower_limit_of_the_factor_exists():
    found = compare_clean_air(setting(6.0, natural=Measured(0.6, 0.02)), setting(0.6, natural=Measured(0.6, 0.02)))
    assert found.higher == "first"
    assert found.times is None
    assert found.at_least_times is not None
    # at most about 0.2 per hour against 5.4
    assert 20 < found.at_least_times < 30
    turned = compare_clean_air(setting(0.6, natural=Measured(0.6, 0.02)), setting(6.0, natural=Measured(0.6, 0.02)))
    assert turned.higher == "second"
    assert turned.at_least_times == pytest.approx(found.at_least_times)
    assert more_clean_air(found).subject == "first"
    assert more_clean_air(found).words.startswith("delivers at least 2")


def test_against_a_rate_below_zero_no_factor_is_invented():
    found = compare_measured(Measured(50.0, 2.0), Measured(-30.0, 2.0))
    assert found.higher == "first"
    assert found.times is None
    assert found.ratio is None
    assert found.at_least_times is None
    assert more_clean_air(found).words == "delivers more; the factor is not known"


def test_exact_values_are_compared_exactly():
    assert compare_measured(Measured(2.0, 0.0), Measured(1.0, 0.0)).probability_first_higher == 1.0
    assert compare_measured(Measured(1.0, 0.0), Measured(1.0, 0.0)).probability_first_higher == 0.5
    assert not compare_measured(Measured(1.0, 0.0), Measured(1.0, 0.0)).told_apart
    assert compare_measured(Measured(2.0, 0.0), Measured(0.0, 0.0)).ratio is None


def test_the_ratio_of_clearing_times_is_that_of_the_rates_turned_round():
    found = compare_clearing_times(Measured(3.0, 0.05), Measured(6.0, 0.05))  # Fieller by hand: 1.929 to 2.075
    assert found.higher == "second"
    assert found.times is not None
    assert found.times.value == pytest.approx(2.0)
    assert faster(found).subject == "second"
    assert faster(found).words == "clears 2.00 times faster; between 1.93 and 2.08"


def test_words_never_show_an_excluded_one_as_the_lower_end():
    found = compare_clearing_times(Measured(6.5, 0.24), Measured(5.6, 0.24))
    assert found.told_apart
    words = faster(found).words
    assert "between 1.0 and" not in words
    assert "between 1.00 and" not in words


def test_words_for_what_is_less():
    cheaper = less(compare_measured(Measured(130.0, 7.0), Measured(90.0, 6.0)), "costs", "EUR")
    assert (cheaper.subject, cheaper.words) == ("second", "costs 40\u00a0EUR less; between 22 and 58")
    level = quieter(compare_measured(Measured(41.2, 0.5), Measured(38.0, 0.4), with_ratio=False))
    assert (level.subject, level.words) == ("second", "is 3.2\u00a0dB quieter; between 1.9 and 4.5")


@pytest.mark.parametrize("say", [faster, more_clean_air, quieter, lambda c: less(c, "costs", "EUR")])
def test_what_cannot_be_told_apart_is_said_of_both(say):
    words = say(compare_measured(Measured(5.0, 1.0), Measured(5.5, 1.0)))
    assert (words.subject, words.words) == (None, "cannot be told apart")


def test_decibels_have_no_ratio():
    found = compare_measured(Measured(41.2, 0.5), Measured(38.0, 0.4), with_ratio=False)
    assert found.ratio is None
    assert found.times is None


def test_the_linearity_of_one_logger_cancels_in_the_ratio_and_scales_the_difference():
    """Monte Carlo (JCGM 101:2008) of V (k (1 + e) - n): one e for both units, large so that it shows."""
    room, natural = Measured(30.0, 0.0), Measured(0.6, 0.0)
    own, linearity, draws = 0.02, 0.05, 200_000
    random = np.random.default_rng(3)
    of_logger = random.normal(0, linearity, draws)
    rates = [k * (1 + of_logger) + random.normal(0, own, draws) - 0.6 for k in (6.0, 4.0)]

    def setting(k: float, logger: int | None) -> SettingInRoom:
        decay = Measured(k, math.hypot(own, linearity * k))
        return SettingInRoom(decay, natural, 1, room, 1, (), False, logger, linearity * k)

    same = compare_clean_air(setting(6.0, 7), setting(4.0, 7))
    assert same.ratio.uncertainty == pytest.approx((rates[0] / rates[1]).std(), rel=0.02)
    assert same.difference.uncertainty == pytest.approx(30 * (rates[0] - rates[1]).std(), rel=0.02)
    for other in (setting(4.0, 8), setting(4.0, None)):
        apart = compare_clean_air(setting(6.0, 7), other)
        assert apart.ratio.uncertainty > 5 * same.ratio.uncertainty
        assert apart.difference.uncertainty == pytest.approx(30 * math.hypot(own, 0.3, own, 0.2), rel=1e-6)
    of_times = compare_clearing_times(
        setting(6.0, 7).total_decay, setting(4.0, 7).total_decay, shared=(linearity * 6.0, linearity * 4.0)
    )
    assert of_times.ratio.uncertainty == pytest.approx(math.hypot(own / 4, 1.5 * own / 4), rel=1e-6)
