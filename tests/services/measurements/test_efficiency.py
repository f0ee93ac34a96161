import pytest

from app.services.measurements.definitions import NewRating
from app.services.measurements.efficiency import unit_efficiency
from app.services.measurements.measured_rates import rates_of_unit
from app.services.measurements.power_levels import power_levels_of_unit
from app.services.measurements.ratings import add_rating, ratings_of_unit
from tests.sample_data.measured_facts import DAY, add_power, add_rate


def efficiency(session, unit_id):
    return unit_efficiency(
        rates_of_unit(session, unit_id), power_levels_of_unit(session, unit_id), ratings_of_unit(session, unit_id)
    )


def certify(session, unit_id, aerosol, cfm=100.0, **fields):
    add_rating(session, unit_id, NewRating(aerosol=aerosol, value=cfm, source="list", seen_on=DAY, **fields))


def test_clean_air_per_watt_of_each_setting(session, small_bench):
    ids = small_bench
    add_rate(session, ids.unit_id, ids.low_setting_id, ids.room_id, 100.0)
    add_rate(session, ids.unit_id, ids.high_setting_id, ids.room_id, 300.0)
    add_power(session, ids.unit_id, ids.high_setting_id, 50.0)
    low, high = efficiency(session, ids.unit_id).settings
    assert (low.per_watt, low.why_not) == (None, "The power of this setting was not measured.")
    assert high.per_watt.value == pytest.approx(6.0)


def test_no_cleaning_gives_nothing_for_its_watts(session, small_bench):
    ids = small_bench
    add_rate(session, ids.unit_id, ids.low_setting_id, ids.room_id, None)
    add_rate(session, ids.unit_id, ids.high_setting_id, ids.room_id, 1.0, measurable=False, at_most=8.0)
    add_power(session, ids.unit_id, ids.high_setting_id, 50.0)
    low, high = efficiency(session, ids.unit_id).settings
    assert low.why_not == "No clean air rate at this setting."
    assert high.why_not.startswith("No measurable cleaning at this setting")


def test_the_federal_factor_rests_on_certified_rates_and_measured_watts(session, small_bench):
    ids = small_bench
    for aerosol in ("smoke", "dust"):
        certify(session, ids.unit_id, aerosol)
    add_power(session, ids.unit_id, ids.high_setting_id, 50.0)
    assert efficiency(session, ids.unit_id).why_no_federal == (
        "Needs the measured power at the highest setting and in standby."
    )
    add_power(session, ids.unit_id, None, 0.0)
    found = efficiency(session, ids.unit_id)
    assert found.federal.integrated_energy_factor_cfm_per_w == pytest.approx(2.0)
    assert found.federal.energy_kwh_per_year == pytest.approx(292.0)


def test_without_both_certified_rates_there_is_no_federal_factor(session, small_bench):
    ids = small_bench
    assert "smoke and dust are missing" in efficiency(session, ids.unit_id).why_no_federal
    certify(session, ids.unit_id, "smoke")
    certify(session, ids.unit_id, "dust", sister_model="Model 2")
    assert efficiency(session, ids.unit_id).why_no_federal.endswith("; dust is missing.")


def test_a_unit_that_draws_nothing_has_no_factor(session, small_bench):
    ids = small_bench
    for aerosol in ("smoke", "dust"):
        certify(session, ids.unit_id, aerosol)
    for setting in (ids.high_setting_id, None):
        add_power(session, ids.unit_id, setting, 0.0)
    assert "is zero, so no factor can be given" in efficiency(session, ids.unit_id).why_no_federal
