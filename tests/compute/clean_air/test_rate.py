"""Clean air delivery rate, air changes, clearing time, limit of detection: rules and bounds."""

import math

import numpy as np
import pytest

from app.compute.clean_air.rate import (
    air_changes_per_h,
    clean_air_delivery_rate,
    detection,
    removal_time_min,
    standard_clearing_time,
)
from app.compute.statistics.measured import Measured
from app.compute.statistics.propagation import propagate

ROOM = Measured(30.0, 0.5)


def test_the_rate_has_the_uncertainty_of_the_general_law_of_propagation():
    rate = clean_air_delivery_rate(Measured(6.0, 0.10), Measured(0.6, 0.05), ROOM)
    general = propagate(lambda x: x[2] * (x[0] - x[1]), [6.0, 0.6, 30.0], np.diag([0.10**2, 0.05**2, 0.5**2]))
    assert rate.value == pytest.approx(general.values[0])
    assert rate.uncertainty == pytest.approx(general.uncertainties[0], rel=1e-8)
    assert rate.uncertainty == pytest.approx(math.sqrt(30**2 * (0.1**2 + 0.05**2) + 5.4**2 * 0.5**2))


def test_the_rate_agrees_with_monte_carlo():
    random = np.random.default_rng(101)
    rate = clean_air_delivery_rate(Measured(3.0, 0.2), Measured(0.5, 0.1), Measured(40.0, 1.5))
    drawn = random.normal(40, 1.5, 400_000) * (random.normal(3, 0.2, 400_000) - random.normal(0.5, 0.1, 400_000))
    assert drawn.mean() == pytest.approx(rate.value, abs=0.1)
    assert drawn.std() == pytest.approx(rate.uncertainty, rel=0.01)
    assert np.quantile(drawn, [0.025, 0.975]) == pytest.approx(rate.interval_95, rel=0.01)


def test_the_degrees_of_freedom_are_those_of_the_part_that_counts():
    """Welch and Satterthwaite by hand: parts 3.0 on 5 degrees and 1.5 on 10, volume exact."""
    rate = clean_air_delivery_rate(Measured(6.0, 0.10, 5), Measured(0.6, 0.05, 10), Measured(30.0, 0.0))
    assert rate.degrees_of_freedom == pytest.approx((9 + 2.25) ** 2 / (81 / 5 + 2.25**2 / 10))


def test_a_rate_below_zero_is_returned_as_it_is():
    assert clean_air_delivery_rate(Measured(0.5, 0.1), Measured(0.6, 0.1), ROOM).value == pytest.approx(-3.0)


@pytest.mark.parametrize("volume", [0.0, -3.0])
def test_a_volume_that_is_not_above_zero_is_refused(volume):
    with pytest.raises(ValueError, match=rf"^The effective volume is {volume} m³; it must be above zero\.$"):
        clean_air_delivery_rate(Measured(5, 0.1), Measured(0.5, 0.1), Measured(volume, 0.1))


def test_air_changes_in_the_test_room_do_not_depend_on_its_volume():
    changes = air_changes_per_h(Measured(6.0, 0.1), Measured(0.6, 0.05))
    small = clean_air_delivery_rate(Measured(6.0, 0.1), Measured(0.6, 0.05), Measured(20.0, 0.0))
    assert small.value / 20 == pytest.approx(changes.value)
    assert small.uncertainty / 20 == pytest.approx(changes.uncertainty)


def test_the_clearing_time_is_longer_above_than_below():
    time = standard_clearing_time(Measured(4.0, 0.4, 12))
    assert time is not None
    assert time.high_95 - time.value > time.value - time.low_95
    low_rate, high_rate = Measured(4.0, 0.4, 12).interval_95
    assert time.interval_95 == pytest.approx((60 * math.log(20) / high_rate, 60 * math.log(20) / low_rate))
    assert time.uncertainty == pytest.approx(0.1 * time.value)


@pytest.mark.parametrize("rate", [Measured(0.3, 0.2), Measured(-0.1, 0.2), Measured(1.0, 0.3, 2)])
def test_there_is_no_clearing_time_where_the_rate_may_be_zero(rate):
    assert standard_clearing_time(rate) is None


@pytest.mark.parametrize(
    ("changes", "share", "message"),
    [
        (0.0, 0.99, r"^The air changes are 0\.0 per hour; they must be above zero\.$"),
        (float("nan"), 0.99, r"^The air changes are nan per hour; they must be above zero\.$"),
        (2.0, 1.0, r"^The share removed is 1\.0; it must be above 0 and below 1\.$"),
        (2.0, 0.0, r"^The share removed is 0\.0; it must be above 0 and below 1\.$"),
    ],
)
def test_a_removal_time_outside_its_range_is_refused(changes, share, message):
    with pytest.raises(ValueError, match=message):
        removal_time_min(changes, share)


def test_the_decision_threshold_by_hand():
    """u(k_t - k_n) = 0.05, V = 30, one-sided t for infinite degrees 1.6449 (NIST e-Handbook: 1.645): 2.467 m³/h."""
    found = detection(Measured(0.66, 0.03), Measured(0.60, 0.04), ROOM)
    assert found.decision_threshold == pytest.approx(2.467, abs=1e-3)
    assert found.detection_limit == pytest.approx(2 * found.decision_threshold)
    assert not found.measurable
    assert found.at_most == pytest.approx(1.8 + 1.645 * math.hypot(1.5, 0.06 * 0.5), abs=1e-3)


def test_a_rate_seen_below_zero_counts_as_zero_in_the_upper_limit():
    below = detection(Measured(0.50, 0.03), Measured(0.60, 0.04), ROOM)
    at_zero = detection(Measured(0.60, 0.03), Measured(0.60, 0.04), Measured(30.0, 0.0))
    assert below.at_most == pytest.approx(at_zero.at_most, rel=0.01)
    assert below.at_most > 0


def test_an_uncertain_volume_does_not_hide_a_clear_difference_of_decay():
    assert detection(Measured(6.0, 0.1), Measured(0.6, 0.1), Measured(30.0, 25.0)).measurable


def test_a_unit_that_does_nothing_is_called_measurable_in_one_of_twenty_trials():
    """Monte Carlo of the error share, and of the share missed at the detection limit."""
    random = np.random.default_rng(5)
    noise = random.normal(0.0, math.hypot(0.06, 0.08), 20_000)
    limit = detection(Measured(0.6, 0.06), Measured(0.6, 0.08), ROOM)
    false_alarms = np.mean(30.0 * noise > limit.decision_threshold)
    missed = np.mean(30.0 * noise + limit.detection_limit < limit.decision_threshold)
    assert 0.045 < false_alarms < 0.055
    assert 0.045 < missed < 0.055
