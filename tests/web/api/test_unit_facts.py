"""Sound, power, ozone, ratings and claims of a unit through the API: measured objects with date and source."""

from fastapi.testclient import TestClient
from sqlalchemy import Engine

from app.services.measurements.claims import add_claim
from app.services.measurements.definitions import NewClaim, NewOzoneTest, NewRating
from app.services.measurements.ozone_tests import add_ozone_test
from app.services.measurements.ratings import add_rating
from app.storage.engine import session_scope
from tests.conftest import SmallBench
from tests.sample_data.measured_facts import DAY, add_power, add_rate, add_sound

MEASURED = {"value", "uncertainty", "low_95", "high_95"}


def test_every_measured_fact_of_a_unit_comes_with_interval_day_and_source(
    client: TestClient, store: Engine, small_bench: SmallBench
):
    unit_id, high = small_bench.unit_id, small_bench.high_setting_id
    with session_scope(store) as session:
        add_rate(session, unit_id, high, small_bench.room_id, 300.0, 6.0)
        add_sound(session, unit_id, high, 46.0, distance_m=2.0)
        add_power(session, unit_id, high, 30.0)
        add_power(session, unit_id, None, 0.5)
        add_ozone_test(session, unit_id, NewOzoneTest(ozone_ppb=14.0, tested_on=DAY, source="own chamber"))
        add_rating(session, unit_id, NewRating(aerosol="smoke", value=200.0, source="public list", seen_on=DAY))
        add_rating(session, unit_id, NewRating(aerosol="dust", value=210.0, source="public list", seen_on=DAY))
        add_claim(
            session,
            unit_id,
            NewClaim(quantity="sound_level", wording="Only 5 dB", value=5.0, unit_symbol="dB(A)", seen_on=DAY),
        )
    unit = client.get(f"/api/units/{unit_id}").json()

    low_sound, high_sound = unit["sound"]
    assert low_sound["level_dba"] is None
    assert low_sound["notes"] == ["The sound of this setting was not measured."]
    assert set(high_sound["level_dba"]) == MEASURED
    # 20 lg 2 = 6.02 dB nearer; sound_arithmetic: recomputed
    assert abs(high_sound["level_dba"]["value"] - 52.02) < 0.02
    assert high_sound["estimate"] is True
    assert high_sound["distance_m"] == 1.0
    assert high_sound["rule"].startswith("ISO")
    assert high_sound["readings"][0]["measured_on"] == DAY.isoformat()

    powers = {power["setting"]: power for power in unit["power"]}
    assert set(powers["high"]["power_w"]) == MEASURED
    assert powers["high"]["readings"][0]["power_w"] == 30.0
    assert powers["low"]["power_w"] is None
    assert powers["standby"]["setting_id"] is None
    assert powers["standby"]["power_w"]["value"] == 0.5

    assert unit["ozone"]["tests"][0]["source"] == "own chamber"
    assert {(limit["limit_ppb"], limit["exceeded"]) for limit in unit["ozone"]["limits"]} == {
        (50.0, False),
        (5.0, True),
    }
    assert {limit["standing"] for limit in unit["ozone"]["limits"]} == {"read", "read second-hand", "from memory"}

    ratings = {rating["aerosol"]: rating for rating in unit["ratings"]}
    assert set(ratings["smoke"]["measured_over_certified"]) == MEASURED
    assert ratings["dust"]["measured_over_certified"] is None
    assert "different tests" in ratings["dust"]["finding"]

    claim = unit["claims"][0]
    assert (claim["verdict"], claim["physically_impossible"]) == ("not supported", True)
    assert (claim["stated_value"], claim["seen_on"]) == (5.0, DAY.isoformat())


def test_a_room_too_loud_gives_an_upper_bound_and_no_level(client: TestClient, store: Engine, small_bench: SmallBench):
    with session_scope(store) as session:
        add_sound(session, small_bench.unit_id, small_bench.high_setting_id, 24.0, background_dba=23.5)
    sound = client.get(f"/api/units/{small_bench.unit_id}").json()["sound"][1]
    assert sound["level_dba"] is None
    assert 20 < sound["at_most_dba"] < 24.0


def test_no_ozone_test_is_not_measured_and_decides_no_limit(client: TestClient, small_bench: SmallBench):
    ozone = client.get(f"/api/units/{small_bench.unit_id}").json()["ozone"]
    assert ozone["finding"].startswith("Ozone: not measured.")
    assert {limit["exceeded"] for limit in ozone["limits"]} == {None}
