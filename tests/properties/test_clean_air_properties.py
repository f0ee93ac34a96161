"""What must hold for any rates: scaling with the volume, swapping, growing uncertainty."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.compute.clean_air.rate import clean_air_delivery_rate, detection, standard_clearing_time
from app.compute.comparison.difference import compare_clean_air, compare_measured
from app.compute.comparison.setting_in_room import SettingInRoom
from app.compute.statistics.measured import Measured

rates = st.builds(Measured, st.floats(0.05, 20.0), st.floats(1e-4, 1.0), st.floats(1.0, 200.0))
volumes = st.builds(Measured, st.floats(5.0, 200.0), st.floats(0.0, 5.0))


@settings(derandomize=True)
@given(rates, rates, volumes)
def test_doubling_the_volume_doubles_the_clean_air(total, natural, volume):
    one = clean_air_delivery_rate(total, natural, volume)
    two = clean_air_delivery_rate(total, natural, volume.times(2.0))
    assert two.value == pytest.approx(2 * one.value)
    assert two.uncertainty == pytest.approx(2 * one.uncertainty)
    assert two.degrees_of_freedom == pytest.approx(one.degrees_of_freedom)


@settings(derandomize=True)
@given(rates, rates, volumes)
def test_the_uncertainty_is_at_least_that_of_its_largest_part(total, natural, volume):
    rate = clean_air_delivery_rate(total, natural, volume)
    assert rate.uncertainty >= volume.value * max(total.uncertainty, natural.uncertainty) * (1 - 1e-12)
    assert rate.degrees_of_freedom >= min(total.degrees_of_freedom, natural.degrees_of_freedom) * (1 - 1e-9)


@settings(derandomize=True)
@given(rates, rates, volumes)
def test_at_most_is_never_below_the_rate_nor_below_zero(total, natural, volume):
    found = detection(total, natural, volume)
    assert found.at_most >= max(0.0, clean_air_delivery_rate(total, natural, volume).value)
    assert found.detection_limit == pytest.approx(2 * found.decision_threshold)


@settings(derandomize=True)
@given(rates)
def test_a_clearing_time_lies_inside_its_interval(total):
    time = standard_clearing_time(total)
    if time is None:
        assert total.low_95 <= 0
    else:
        assert 0 < time.low_95 <= time.value <= time.high_95 < math.inf


@settings(derandomize=True)
@given(rates, rates)
def test_comparing_the_other_way_round_says_the_same(one, other):
    there, back = compare_measured(one, other), compare_measured(other, one)
    assert there.told_apart == back.told_apart
    assert there.probability_first_higher == pytest.approx(1 - back.probability_first_higher)
    assert (there.times is None) == (back.times is None)
    if there.times is not None and back.times is not None:
        assert there.times.interval_95 == pytest.approx(back.times.interval_95)


@settings(derandomize=True)
@given(rates, rates, rates, volumes)
def test_a_common_natural_decay_never_moves_the_difference(one, other, natural, volume):
    def difference(shared):
        pair = [SettingInRoom(rate, shared, 1, volume, 1) for rate in (one, other)]
        return compare_clean_air(*pair).difference

    with_it, without = difference(natural), difference(Measured(0.0, 0.0))
    assert with_it.value == pytest.approx(without.value, abs=1e-9 * volume.value * 20)
    assert with_it.uncertainty == pytest.approx(without.uncertainty, rel=1e-9)
