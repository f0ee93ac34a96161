"""The parts of a unit's page beside the measured rates: efficiency, recordings, price history, claims as a picture."""

from datetime import date

import pytest

from app.services.claims import NewClaim, add_claim
from app.services.consumables import NewConsumable, add_consumable, add_consumable_price
from app.services.ratings import NewRating, add_rating
from app.services.sound_clips import NewClip, add_clip
from app.storage.engine import session_scope
from tests.services.measured_facts import DAY, add_power, add_price, add_rate
from tests.services.sound_files import noise, sound_bytes


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
        add_consumable_price(session, part, 40.0, "USD", DAY)
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
    assert "hours a year (from memory, rule of 2023)" in page
    assert "Never to be compared with the column beside it" in page


def test_without_ratings_the_federal_factor_says_why(client, small_bench):
    page = client.get(f"/units/{small_bench.unit_id}").text
    assert "Cannot be given. It needs certified smoke and dust rates" in page


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
    assert "1 price in another currency left out." in words
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
