import re

import pytest
from sqlalchemy import update

from app.storage.engine import session_scope
from app.storage.models.units_under_test import Price
from tests.sample_data.measured_facts import add_rate, add_sound


@pytest.fixture
def bench(store, small_bench):
    ids = small_bench
    with session_scope(store) as session:
        add_rate(session, ids.unit_id, ids.low_setting_id, ids.room_id, 240.0)
        add_rate(session, ids.unit_id, ids.high_setting_id, ids.room_id, 400.0)
        add_sound(session, ids.unit_id, ids.low_setting_id, 40.0)
        add_sound(session, ids.unit_id, ids.high_setting_id, 52.0)
    return ids


def test_an_empty_bench_says_what_to_do_first(client):
    page = client.get("/room")
    assert page.status_code == 200
    assert "There is no unit with a speed setting yet" in page.text


def test_three_inputs_are_enough(client, bench):
    page = client.get("/room?room_area_m2=20&max_sound_dba=45&max_price=250")
    assert page.status_code == 200
    assert "Units for a room of 20\u00a0m², below 45\u00a0dB(A) and up to 250\u00a0USD" in page.text
    assert (
        "Only one unit is enough for this room within these limits: Maker A Model 1 at “low”, 199\u00a0USD" in page.text
    )
    assert "1 of 1 unit" in page.text
    assert "4.84 air changes per hour" in page.text
    assert "so it may be too weak" in page.text  # 240 ± 10 against 236


def test_unasked_it_is_about_20_m2_below_45_dba(client, bench):
    page = client.get("/room")
    assert 'name="room_area_m2" type="text" value="20"' in page.text
    assert "below 45\u00a0dB(A)" in page.text


def test_an_empty_ceiling_is_no_ceiling(client, bench):
    page = client.get("/room?room_area_m2=20&max_sound_dba=")
    assert "Units for a room of 20\u00a0m²" in page.text
    assert '<span class="maker">high</span>' in page.text


def test_where_nothing_serves_the_nearest_are_named(client, bench):
    page = client.get("/room?room_area_m2=30&max_sound_dba=45")
    assert "No single unit is enough for this room within these limits" in page.text
    assert "Strongest within the limits: Maker A Model 1 at “low”" in page.text
    assert "Quietest that is strong enough: Maker A Model 1 at “high”" in page.text


def test_two_of_one_kind_are_offered_where_one_is_too_weak(client, bench):
    page = client.get("/room?room_area_m2=30&max_sound_dba=45")  # 354 m³/h
    assert (
        "Two of the same unit would be: Maker A Model 1 at “low”, 398\u00a0USD, 480\u00a0m³/h, 43\u00a0dB(A)"
        in page.text
    )
    assert "Would two of the same unit be enough?" in page.text
    assert "nor are two of the same unit." in client.get("/room?room_area_m2=90&max_sound_dba=45").text


def test_a_wrong_room_is_refused_and_what_was_typed_is_kept(client, bench):
    page = client.get("/room?room_area_m2=-3&max_sound_dba=45")
    assert page.status_code == 422
    assert "Found -3 m²; enter a value above 0 and at most 10000" in page.text
    assert 'value="-3"' in page.text
    assert "found &#39;much&#39;" in client.get("/room?room_area_m2=much").text


def test_cubic_feet_for_those_who_think_in_them(client, bench):
    assert "cfm" in client.get("/room?room_area_m2=20&max_sound_dba=45&units=us").text


def test_the_frontier_has_its_picture_and_its_cautions(client, bench):
    page = client.get("/room")
    assert 'data-figure-url="/figures/frontier.json?room_area_m2=20&amp;max_sound_dba=45"' in page.text
    assert client.get("/figures/frontier.json?room_area_m2=20").status_code == 200
    assert client.get("/charts/frontier.csv?room_area_m2=20").text.count("Maker A Model 1") >= 2
    assert "should ask a doctor" in page.text


def test_a_ceiling_of_nothing_is_a_ceiling_and_nobody_serves(client, bench):
    page = client.get("/room?room_area_m2=20&max_sound_dba=0&max_price=250")
    assert page.status_code == 200
    assert "Units for a room of 20\u00a0m², below 0\u00a0dB(A) and up to 250\u00a0USD" in page.text
    assert "nor are two of the same unit." in page.text
    assert "too loud, or not measured, at every setting" in page.text


def test_a_budget_leaves_out_what_is_priced_in_another_currency_and_says_so(client, store, bench):
    with session_scope(store) as session:
        session.execute(update(Price).values(currency="EUR"))
    page = client.get("/room?room_area_m2=20&max_sound_dba=45&max_price=250")
    assert "too expensive, or without a price" in page.text
    free = client.get("/room?room_area_m2=20&max_sound_dba=45")
    assert "Only one unit is enough for this room" in free.text
    assert "No price recorded in the bench currency." in free.text


def test_sound_air_changes_and_time_stand_with_their_interval_and_a_converted_level_is_marked(client, store, bench):
    """95 % of 240 ± 5 m³/h is 230.2 to 249.8, in 48.8 m³ 4.7 to 5.1 air changes and 35 to 38 min for ln 20."""
    with session_scope(store) as session:
        add_sound(session, bench.unit_id, bench.low_setting_id, 34.0, distance_m=2.0)
    page = client.get("/room?room_area_m2=20&max_sound_dba=45").text
    row = next(part.split("</tr>")[0] for part in page.split("<tr>") if "Calculated from the rate" in part)
    assert re.search(r'4\.9\d?<span class="below">4\.7\d? to 5\.1\d?</span>', row)
    assert '<span class="below">35 to 38</span>' in row
    assert row.count('<span class="estimate-mark">est.</span>') == 2  # the time, and the sound
    assert "Converted from another distance by the distance law." in row
