import math

import numpy as np
import pytest

from app.compute.cost_and_energy.power import power_of_log, power_of_spot_readings
from app.compute.wording.numbers import doubtful_text


def test_repeats_do_not_make_the_meter_better():
    found = power_of_spot_readings([50.0, 50.2, 49.8, 50.0] * 25, meter_uncertainty_w=1.0)
    assert found.value == pytest.approx(50.0)
    assert found.uncertainty == pytest.approx(1.0, rel=0.001)


def test_one_reading_has_the_uncertainty_of_the_meter_and_its_display():
    """JCGM 100:2008, 4.3.7: half a step either way, a rectangle."""
    found = power_of_spot_readings([50.4], 0.7)
    assert found.uncertainty == pytest.approx(math.hypot(0.7, 0.1 / math.sqrt(12)))
    assert (found.value, found.degrees_of_freedom) == (50.4, math.inf)


def test_a_meter_without_a_stated_uncertainty_is_not_perfect():
    """11.5 ± 0.0 W: two per cent either way, a rectangle, and the display of tenths."""
    found = power_of_spot_readings([11.5], 0.0)
    assert found.uncertainty == pytest.approx(math.hypot(0.02 * 11.5 / math.sqrt(3), 0.1 / math.sqrt(12)))
    assert doubtful_text(found.value, found.uncertainty, "W") == "11.50\u00a0W"


def test_a_log_at_one_value_without_a_stated_uncertainty_is_not_perfect():
    found = power_of_log(np.arange(600.0), np.full(600, 11.5)).mean_power
    assert found.uncertainty == power_of_spot_readings([11.5], 0.0).uncertainty


def test_a_log_of_two_readings_far_apart_says_that_its_mean_is_uncertain():
    """0 and 19.2 W: a mean of 9.6 W, and a standard error of as much."""
    found = power_of_log([0, 60], [0.0, 19.2])
    assert found.mean_power.value == pytest.approx(9.6)
    assert found.mean_power.uncertainty == pytest.approx(9.6, rel=0.001)
    note = next(note for note in found.notes if note.code == "power_varies")
    assert note.message == (
        "The 2 readings run from 0.0 to 19.2 W, so the mean of 9.6 W is uncertain by 100 %. Log longer at one setting, "
        "without switching it on or off."
    )
    assert doubtful_text(9.6, found.mean_power.uncertainty, "W") == "10\u00a0W (0 to 28)"
    assert "coarse_meter" not in {note.code for note in found.notes}


def test_degrees_of_freedom_follow_the_repeats_where_the_meter_is_good():
    assert power_of_spot_readings([50.0, 51.0, 52.01], 0.001).degrees_of_freedom == pytest.approx(2.0, rel=0.01)


@pytest.mark.parametrize("readings", [[], [math.nan], [-1.0, 3.0]])
def test_readings_that_are_none_are_refused(readings):
    with pytest.raises(ValueError, match="one or more numbers of zero or above are needed"):
        power_of_spot_readings(readings, 0.1)


def test_a_negative_meter_uncertainty_is_refused():
    with pytest.raises(ValueError, match="The meter's uncertainty is -1 W; it must be zero or above"):
        power_of_spot_readings([1.0], -1.0)


def test_uneven_readings_are_weighted_by_time():
    log = power_of_log([0, 1, 2, 3, 100], [100, 100, 100, 10, 10])
    by_hand = (100 * 2 + 55 * 1 + 10 * 97) / 100
    assert log.mean_power.value == pytest.approx(by_hand)
    assert np.mean([100, 100, 100, 10, 10]) > 4 * log.mean_power.value


def test_order_and_repeated_times_do_not_matter():
    straight = power_of_log([0, 10, 20, 30], [10, 20, 30, 40])
    mixed = power_of_log([30, 10, 0, 20, 10, 20], [40, 20, 10, 30, 20, math.nan])
    assert mixed.mean_power.value == straight.mean_power.value
    assert mixed.readings == 4


def test_a_constant_power_is_known_to_the_meter():
    log = power_of_log(np.arange(600.0), np.full(600, 42.0), meter_uncertainty_w=0.4)
    assert log.mean_power.value == pytest.approx(42.0)
    assert log.mean_power.uncertainty == pytest.approx(math.hypot(0.4, 1 / math.sqrt(12)))
    assert log.notes == ()


def test_slow_drift_counts_in_the_uncertainty():
    drift = power_of_log(np.arange(6000.0), 40 + np.linspace(0, 10, 6000))
    assert drift.mean_power.uncertainty > 0.5


def test_a_coarse_meter_at_low_load_is_cautioned():
    """The shape of a router on a plug-in meter that only knows 4 and 6 W; numbers of our own."""
    watts = np.where(np.arange(3600) % 5 == 0, 4.0, 6.0)
    log = power_of_log(np.arange(3600.0), watts - 2.0)
    assert {note.code for note in log.notes} == {"low_load", "coarse_meter"}
    assert log.mean_power.uncertainty == pytest.approx(2 / math.sqrt(12), rel=0.01)
    assert "2 W apart, 56 % of the mean of 3.60 W" in next(n.message for n in log.notes if n.code == "coarse_meter")


def test_a_gap_is_told():
    times = np.concatenate([np.arange(100.0), 500 + np.arange(100.0)])
    notes = power_of_log(times, np.full(200, 40.0)).notes
    assert [note.code for note in notes] == ["gap_in_power_log"]
    assert "longest gap between readings is 401 s where 1 s is usual" in notes[0].message


def test_one_time_is_not_a_log():
    with pytest.raises(ValueError, match="power log has 1 different times with a reading; a mean over time needs 2"):
        power_of_log([5.0, 5.0], [1.0, 2.0])


def test_a_power_below_zero_is_refused():
    with pytest.raises(ValueError, match="power log holds -2 W; a power must be zero or above"):
        power_of_log([0.0, 1.0], [-2.0, 2.0])
