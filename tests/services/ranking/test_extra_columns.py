import pytest

from app.services.measurements.definitions import NewOzoneTest, NewRating
from app.services.measurements.ozone_tests import add_ozone_test
from app.services.measurements.ratings import add_rating
from app.services.ranking.extra_columns import extra_facts
from app.services.ranking.table import rank_units
from app.services.snapshot.bench_snapshot import current_snapshot
from tests.sample_data.measured_facts import DAY, add_power, add_rate, add_tariff


def facts(session):
    return extra_facts(current_snapshot(session), rank_units(current_snapshot(session)).lines)[0]


def certify(session, unit_id, aerosol, value=100.0, **fields):
    add_rating(
        session, unit_id, NewRating(**({"aerosol": aerosol, "value": value, "source": "x", "seen_on": DAY} | fields))
    )


def test_what_is_not_known_says_why(session, small_bench):
    found = facts(session)
    assert (found.per_watt, found.clean_air_cost, found.federal, found.ozone_ppb) == (None, None, None, None)
    assert found.why_no_per_watt == "No clean air rate that can be distinguished from zero at this setting."
    assert found.certified_smoke.why_not == "No certified smoke rate recorded for this unit."
    assert found.why_no_federal == "Needs certified smoke and dust rates of this unit."
    assert found.ozone_text.startswith("Ozone: not measured.")


def test_what_is_known_is_worked_out(session, small_bench):
    ids = small_bench
    add_tariff(session)
    add_rate(session, ids.unit_id, ids.high_setting_id, ids.room_id, 300.0)
    add_power(session, ids.unit_id, ids.high_setting_id, 50.0)
    add_power(session, ids.unit_id, None, 0.0)
    for aerosol in ("smoke", "dust"):
        certify(session, ids.unit_id, aerosol)
    add_ozone_test(session, ids.unit_id, NewOzoneTest(ozone_ppb=12.0, tested_on=DAY))
    add_ozone_test(session, ids.unit_id, NewOzoneTest(ozone_ppb=20.0, tested_on=DAY, below_detection=True))
    found = facts(session)
    assert found.per_watt.value == pytest.approx(6.0)
    assert "Lower bound only." in found.why_no_clean_air_cost  # its filters are not recorded
    assert found.certified_smoke.rate_m3_per_h == pytest.approx(169.9, abs=0.01)
    assert found.federal.integrated_energy_factor_cfm_per_w == pytest.approx(2.0)
    assert found.ozone_ppb == 12.0


def test_a_rate_without_watts_has_no_efficiency(session, small_bench):
    ids = small_bench
    add_rate(session, ids.unit_id, ids.high_setting_id, ids.room_id, 300.0)
    found = facts(session)
    assert found.why_no_per_watt == "The power of this setting was not measured."
    assert "an electricity price" in found.why_no_clean_air_cost


def test_a_sister_model_and_a_look_in_vain_fill_nothing(session, small_bench):
    ids = small_bench
    certify(session, ids.unit_id, "smoke", sister_model="Model 2")
    assert facts(session).certified_smoke.rate_m3_per_h is None
    certify(session, ids.unit_id, "smoke", None, listed=False)
    assert facts(session).certified_smoke.why_not == "On 2026-02-03 searched for, not listed."


def test_certified_rates_without_standby_give_no_federal_factor(session, small_bench):
    ids = small_bench
    for aerosol in ("smoke", "dust"):
        certify(session, ids.unit_id, aerosol)
    assert "measured power at the highest setting and in standby" in facts(session).why_no_federal


def test_no_lines_need_no_facts(session):
    assert extra_facts(current_snapshot(session), ()) == []
