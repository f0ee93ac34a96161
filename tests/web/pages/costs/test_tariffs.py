import pytest
from sqlalchemy import select

from app.storage.engine import session_scope
from app.storage.models.bench import Tariff

SENT = {"region": "Northland", "price_per_kwh": "0,21", "currency": "EUR", "valid_from": "2026-01-01"}


def stored(store):
    with session_scope(store) as session:
        return session.scalars(select(Tariff)).all()


def test_a_tariff_is_added_and_shown(client, store):
    assert "No tariffs yet." in client.get("/tariffs").text
    answer = client.post("/tariffs", data=SENT | {"standing": "own bill", "tariff_source": "bill"})
    assert answer.status_code == 303
    page = client.get(answer.headers["location"]).text
    assert "1 tariff added." in page
    assert "<td>own bill</td>" in page
    assert (stored(store)[0].price_per_kwh, stored(store)[0].currency) == (0.21, "EUR")


@pytest.mark.parametrize(
    ("fields", "message"),
    [
        ({"region": ""}, "The region is empty"),
        ({"price_per_kwh": ""}, "The price per kilowatt-hour is missing"),
        ({"price_per_kwh": "cheap"}, "found &#39;cheap&#39;"),
        ({"currency": "euro"}, "The currency is &#39;euro&#39;"),
        ({"valid_from": ""}, "The tariff has no date"),
    ],
)
def test_wrong_tariffs_keep_what_was_typed(client, store, fields, message):
    answer = client.post("/tariffs", data=SENT | {"tariff_source": "a bill"} | fields)
    assert answer.status_code == 422
    assert message in answer.text
    assert 'value="a bill"' in answer.text
    assert stored(store) == []


def test_the_reference_table_is_brought_in_once(client, store):
    first = client.post("/tariffs/reference")
    assert first.headers["location"] == "/tariffs?added=56"
    page = client.get("/tariffs?added=56").text
    assert "unverified, from memory" in page
    assert client.post("/tariffs/reference").headers["location"] == "/tariffs?added=0"
    assert "already exist" in client.get("/tariffs?added=0").text
    assert len(stored(store)) == 56
