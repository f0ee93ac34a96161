"""Published editions for scripts: digest, numbers, and what moved since the one before."""

import hashlib
from datetime import UTC, datetime
from pathlib import Path

import pytest
from fastapi.testclient import TestClient
from sqlalchemy import Engine

from app.services.units.definitions import NewPrice
from app.services.units.prices import add_price
from app.storage.engine import session_scope
from app.web.published.publish import publish
from tests.conftest import NOW
from tests.web.tried_bench import TriedBench


@pytest.fixture
def site(store: Engine, tried_bench: TriedBench, tmp_path: Path) -> Path:
    """Two editions: a price moved in the second."""
    publish(store, tmp_path / "site", workers=1, now=datetime(2026, 4, 1, tzinfo=UTC))
    with session_scope(store) as session:
        new = NewPrice(amount=149.0, currency="USD", seen_on=NOW.date(), source="a shop")
        add_price(session, tried_bench.strong_unit_id, new)
    publish(store, tmp_path / "site", workers=1, now=datetime(2026, 5, 1, tzinfo=UTC))
    return tmp_path / "site"


def test_a_bench_that_was_never_published_has_no_editions(client: TestClient):
    answer = client.get("/api/editions").json()
    assert (answer["editions"], answer["next_cursor"]) == ([], None)
    assert client.get("/api/editions/1").status_code == 404
    assert client.get("/api/editions/1").headers["content-type"] == "application/problem+json"


def test_editions_are_listed_from_the_newest_with_their_digests(site: Path, client: TestClient):
    answer = client.get("/api/editions").json()
    assert [(one["edition"], one["published_at"], one["moved"]) for one in answer["editions"]] == [
        (2, "2026-05-01T00:00:00Z", 2),
        (1, "2026-04-01T00:00:00Z", 0),
    ]
    assert answer["editions"][0]["digest"] == hashlib.sha256((site / "edition.json").read_bytes()).hexdigest()
    part = client.get("/api/editions?limit=1").json()
    rest = client.get(f"/api/editions?limit=1&cursor={part['next_cursor']}").json()
    assert [one["edition"] for one in (*part["editions"], *rest["editions"])] == [2, 1]


def test_an_edition_has_its_numbers_with_their_trials_and_what_moved(site: Path, client: TestClient):
    first, second = client.get("/api/editions/1").json(), client.get("/api/editions/2").json()
    assert (first["before"], second["before"]) == (None, first["digest"])
    rate = next(one for one in second["numbers"] if one["key"] == "unit/1/setting/2/clean_air_delivery_rate")
    assert rate["trials"] == [3, 4]
    assert rate["based_on"]["empty-room trial"] == ["1", "2"]
    assert rate["low_95"] < rate["value"] < rate["high_95"]
    assert (rate["unit_of_measure"], rate["method_version"]) == ("m³/h", second["method_version"])
    price = next(one for one in second["moved"] if one["key"] == "unit/1/price")
    assert (price["before"]["value"], price["after"]["value"]) == (199.0, 149.0)
    assert price["why"] == f"price of {NOW.date().isoformat()}, a shop"
    assert (first["moved"], len(second["moved"])) == ([], 2)


def test_the_rate_is_the_one_of_the_ranking(site: Path, client: TestClient):
    """Every measured number of the ranking is among the published ones, to twelve digits."""
    published = {one["key"]: one for one in client.get("/api/editions/2").json()["numbers"]}
    lines = client.get("/api/ranking?setting=every").json()["ranking"]
    compared = 0
    for line in lines:
        for field, key in (
            ("clean_air_delivery_rate_m3_per_h", "clean_air_delivery_rate"),
            ("standard_clearing_time_min", "standard_clearing_time"),
            ("power_w", "power"),
        ):
            if line[field] is None or not line["measurable"] or line["setting"] is None:
                continue
            number = published[f"unit/{line['unit_id']}/setting/{line['setting']['id']}/{key}"]
            assert number["value"] == pytest.approx(line[field]["value"], rel=1e-11)
            assert number["low_95"] == pytest.approx(line[field]["low_95"], rel=1e-11)
            compared += 1
    assert compared >= 3


def test_one_unit_can_be_asked_for(site: Path, client: TestClient):
    answer = client.get("/api/editions/2?unit_id=2").json()
    assert {one["unit_id"] for one in answer["numbers"]} == {2}
    assert answer["moved"] == []
