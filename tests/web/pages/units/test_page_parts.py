"""Parts of a unit's page besides measured rates: efficiency, recordings, price history, claims chart."""

import csv
from datetime import date

import pytest

from app.services.measurements.claims import add_claim
from app.services.measurements.definitions import NewClaim, NewClip, NewOzoneTest, NewRating
from app.services.measurements.ozone_tests import add_ozone_test
from app.services.measurements.ratings import add_rating
from app.services.measurements.sound_clips import add_clip
from app.services.units.consumables import add_consumable, add_consumable_price
from app.services.units.definitions import NewConsumable, NewPrice
from app.storage.engine import session_scope
from tests.sample_data.measured_facts import DAY, add_power, add_price, add_rate, add_sound, add_tariff
from tests.sample_data.sound_files import noise, sound_bytes


@pytest.fixture
def known(store, small_bench):
    ids = small_bench
    with session_scope(store) as session:
        add_rate(session, ids.unit_id, ids.high_setting_id, ids.room_id, 300.0)
        add_power(session, ids.unit_id, ids.high_setting_id, 50.0)
        add_power(session, ids.unit_id, None, 0.5)
        for aerosol in ("smoke", "dust"):
            add_rating(session, ids.unit_id, NewRating(aerosol=aerosol, value=180.0, source="list", seen_on=DAY))
        add_price(session, ids.unit_id, 179.0, seen_on=date(2025, 6, 1))
        add_price(session, ids.unit_id, 150.0, "EUR", seen_on=date(2025, 7, 1))
        part = add_consumable(session, ids.unit_id, NewConsumable(name="main filter", life_months=12))
        add_consumable_price(session, part, NewPrice(amount=40.0, currency="USD", seen_on=DAY, source="shop"))
        claim = NewClaim(quantity="power", value=40.0, unit_symbol="W", bound="at most", wording="40 W", seen_on=DAY)
        add_claim(session, ids.unit_id, claim)
        clip = NewClip(
            content=sound_bytes(noise()), file_name="a.wav", recorded_on=DAY, distance_m=1.0, known_level_dba=45.0
        )
        add_clip(session, ids.unit_id, ids.high_setting_id, clip)
    return ids


def test_both_efficiencies_stand_apart_and_unverified_is_said(client, known):
    page = client.get(f"/units/{known.unit_id}").text
    assert "Clean air per watt at test power" in page
    assert "6.00" in page
    assert "Integrated energy factor" in page
    assert "unverified: read second-hand, rule of 2023" in page
    assert "hours per year (from memory, rule of 2023)" in page
    assert "Do not compare it with the column beside it" in page


def test_without_ratings_the_federal_factor_says_why(client, small_bench):
    page = client.get(f"/units/{small_bench.unit_id}").text
    assert "Not available. Needs certified smoke and dust rates" in page


def test_recordings_are_named_with_a_way_to_listen(client, known):
    page = client.get(f"/units/{known.unit_id}").text
    assert "Recorded at “high”: 45\u00a0dB(A) at 1\u00a0m, no prominent tone" in page
    assert 'href="/listen?clip=1"' in page


def test_prices_over_time_are_drawn_in_one_currency(client, known):
    page = client.get(f"/units/{known.unit_id}").text
    assert f'data-figure-url="/figures/price-history.json?unit={known.unit_id}"' in page
    figure = client.get(f"/figures/price-history.json?unit={known.unit_id}").json()
    words = figure["meta"]["alt_text"]
    assert "179\u00a0USD on 2025-06-01" in words
    assert "1 price in another currency not included." in words
    table = client.get(f"/charts/price-history.csv?unit={known.unit_id}").text
    assert "main filter" in table
    assert "150" not in table


def test_claims_are_drawn_beside_their_table(client, known):
    page = client.get(f"/units/{known.unit_id}").text
    assert f'data-figure-url="/figures/claims-measured.json?unit={known.unit_id}"' in page
    table = client.get(f"/charts/claims-measured.csv?unit={known.unit_id}").text
    assert "125" in table  # 50 W of 40 W


def test_charts_of_a_unit_need_the_unit(client, small_bench):
    for name in ("price-history", "claims-measured"):
        answer = client.get(f"/figures/{name}.json", headers={"Accept": "application/json"})
        assert answer.status_code == 422
        assert "This chart needs a unit; add ?unit=" in answer.text
        assert client.get(f"/figures/{name}.json?unit=99").status_code == 404
    empty = client.get(f"/figures/price-history.json?unit={small_bench.unit_id}").json()
    assert "199\u00a0USD" in empty["meta"]["alt_text"]


def test_ozone_stands_with_its_day_its_source_and_how_each_limit_is_known(client, store, small_bench):
    with session_scope(store) as session:
        add_ozone_test(session, small_bench.unit_id, NewOzoneTest(ozone_ppb=14.0, tested_on=DAY, source="own chamber"))
    page = client.get(f"/units/{small_bench.unit_id}").text
    assert f"Tested on {DAY}: 14\u00a0ppb, source: own chamber" in page.replace("&nbsp;", "\u00a0")
    assert "UL 2998 (unverified: from memory)" in page
    assert "program requirements (read)" in page


def test_a_certified_rate_comes_with_the_known_reasons_to_differ(client, known):
    page = client.get(f"/units/{known.unit_id}").text
    assert "Why a measured and a certified rate may differ" in page
    assert "Rating rules round down" in page


def test_how_the_sound_was_measured_is_told_reading_by_reading(client, store, known):
    with session_scope(store) as session:
        add_sound(session, known.unit_id, known.high_setting_id, 46.0, distance_m=2.0, instrument="meter A")
    page = client.get(f"/units/{known.unit_id}").text.replace("&nbsp;", "\u00a0")
    assert (
        f"“high”, {DAY}: 46.0\u00a0dB(A) at 2\u00a0m, front, indoor; background 20.0\u00a0dB(A); meter A, class 2"
        in page
    )
    assert "converted to 1 m by 20 lg of the distances: an estimate." in page


def test_parts_without_a_price_cost_an_amount_not_known_never_zero(client, store, small_bench):
    with session_scope(store) as session:
        add_rate(session, small_bench.unit_id, small_bench.high_setting_id, small_bench.room_id, 300.0)
        add_power(session, small_bench.unit_id, small_bench.high_setting_id, 50.0)
        add_power(session, small_bench.unit_id, None, 0.5)
        add_tariff(session)
        add_consumable(session, small_bench.unit_id, NewConsumable(name="main filter", life_months=12))
    page = client.get(f"/units/{small_bench.unit_id}").text
    assert "for energy, an amount not known for filters and other consumables" in page
    row = dict(zip(*csv.reader(client.get("/tables/running-cost.csv").text.splitlines()[:2]), strict=True))
    assert row["filters_and_parts_usd_per_year"] == ""
    assert row["running_cost_usd_per_year_bound"] == "at least"
