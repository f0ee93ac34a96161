import pytest
from sqlalchemy import select

from app.storage.engine import session_scope
from app.storage.models.ratings_and_claims import Claim, Rating
from tests.sample_data.measured_facts import add_rate

RATING = {
    "aerosol": "smoke",
    "rating_value": "200",
    "rating_unit": "ft³/min",
    "rating_source": "public list",
    "rating_seen_on": "2026-02-03",
}
CLAIM = {
    "wording": "Cleans 340 m³ an hour",
    "quantity": "clean_air_delivery_rate",
    "bound": "at least",
    "claim_value": "340",
    "claim_unit": "m³/h",
    "claim_seen_on": "2026-02-03",
}


def rows(store, table):
    with session_scope(store) as session:
        return session.scalars(select(table)).all()


@pytest.fixture
def measured(store, small_bench):
    with session_scope(store) as session:
        add_rate(session, small_bench.unit_id, small_bench.high_setting_id, small_bench.room_id, 300.0, 6.0)
    return small_bench


def test_empty_pages_offer_their_forms(client, small_bench):
    assert "No certified rates recorded." in client.get(f"/units/{small_bench.unit_id}/ratings").text
    assert "No claims recorded." in client.get(f"/units/{small_bench.unit_id}/claims").text
    assert client.get("/units/99/ratings").status_code == 404
    assert client.get("/units/99/claims").status_code == 404


def test_a_rating_is_stored_and_compared(client, measured, store):
    assert client.post(f"/units/{measured.unit_id}/ratings", data=RATING).status_code == 303
    assert rows(store, Rating)[0].clean_air_delivery_rate_m3_per_h == pytest.approx(339.8, abs=0.01)
    assert "Measured 0.88 of the certified smoke rate" in client.get(f"/units/{measured.unit_id}/ratings").text


def test_looked_for_and_not_listed_is_kept(client, measured, store):
    sent = RATING | {"rating_value": "", "not_listed": "1"}
    assert client.post(f"/units/{measured.unit_id}/ratings", data=sent).status_code == 303
    assert rows(store, Rating)[0].listed is False
    assert "Searched for on 2026-02-03; not listed" in client.get(f"/units/{measured.unit_id}/ratings").text


def test_a_sister_models_rating_is_kept_and_not_compared(client, measured, store):
    client.post(f"/units/{measured.unit_id}/ratings", data=RATING | {"sister_model": "Model 2"})
    assert "is for Model 2, a sister model" in client.get(f"/units/{measured.unit_id}/ratings").text


@pytest.mark.parametrize(
    ("fields", "message"),
    [
        ({"rating_value": ""}, "The rating is missing"),
        ({"rating_value": "many"}, "The rating: found &#39;many&#39;"),
        ({"rating_source": ""}, "The source of the rating is empty"),
        ({"rating_seen_on": ""}, "The rating has no date"),
        ({"not_listed": "1"}, "marked as not listed and has the value 200"),
    ],
)
def test_wrong_ratings_keep_what_was_typed(client, measured, store, fields, message):
    answer = client.post(f"/units/{measured.unit_id}/ratings", data=RATING | {"edition": "2nd edition"} | fields)
    assert answer.status_code == 422
    assert message in answer.text
    assert 'value="2nd edition"' in answer.text
    assert rows(store, Rating) == []


def test_a_claim_is_stored_and_judged(client, measured, store):
    assert client.post(f"/units/{measured.unit_id}/claims", data=CLAIM).status_code == 303
    page = client.get(f"/units/{measured.unit_id}/claims").text
    assert "Not supported: measured 300 m³/h (288 to 312) against at least 340 m³/h claimed, 40 less." in page
    assert "“Cleans 340 m³ an hour”" in page
    figure = client.get(f"/figures/claims-measured.json?unit={measured.unit_id}").json()
    assert figure["meta"]["alt_text"] == "1 claim on Maker A Model 1: 1 not supported."


def test_a_claim_may_name_a_setting_that_was_not_measured(client, measured):
    client.post(f"/units/{measured.unit_id}/claims", data=CLAIM | {"setting": str(measured.low_setting_id)})
    page = client.get(f"/units/{measured.unit_id}/claims").text
    assert "Cannot be tested here: The bench has not measured this yet." in page


@pytest.mark.parametrize(
    ("fields", "message"),
    [
        ({"wording": ""}, "The wording of the claim is empty"),
        (
            {"claim_unit": "furlongs"},
            "The unit of measure &#39;furlongs&#39; does not fit a claim about clean air delivery rate",
        ),
        ({"claim_value": "a lot"}, "The claim: found &#39;a lot&#39;"),
        ({"quantity": "beauty"}, "The quantity of the claim is &#39;beauty&#39;"),
        ({"setting": "999"}, "There is no setting 999"),
        ({"claim_seen_on": "soon"}, "found &#39;soon&#39;; enter a date such as"),
    ],
)
def test_wrong_claims_keep_what_was_typed(client, measured, store, fields, message):
    answer = client.post(f"/units/{measured.unit_id}/claims", data=CLAIM | {"where_seen": "the box"} | fields)
    assert answer.status_code in (404, 422)
    assert message in answer.text
    assert rows(store, Claim) == []


@pytest.mark.parametrize(("what", "sent", "table"), [("ratings", RATING, Rating), ("claims", CLAIM, Claim)])
def test_entries_are_taken_back_with_a_reason(client, measured, store, what, sent, table):
    client.post(f"/units/{measured.unit_id}/{what}", data=sent)
    entry = rows(store, table)[0].id
    address = f"/units/{measured.unit_id}/{what}/{entry}/take-back"
    refused = client.post(address, data={"why": " "})
    assert refused.status_code == 422
    assert "The reason for removal is empty" in refused.text
    assert client.post(address, data={"why": "another unit", "who": "Ada"}).status_code == 303
    assert rows(store, table) == []


def test_wordings_stay_words(client, measured):
    client.post(f"/units/{measured.unit_id}/claims", data=CLAIM | {"wording": "<b>best</b>"})
    assert "“&lt;b&gt;best&lt;/b&gt;”" in client.get(f"/units/{measured.unit_id}/claims").text
