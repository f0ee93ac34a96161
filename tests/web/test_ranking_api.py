"""The ranking and the running cost through the API, held against the pages' own numbers."""

import json

import pytest
from fastapi.testclient import TestClient

from tests.conftest import SmallBench
from tests.web.tried_bench import TriedBench

MEASURED = {"value", "uncertainty", "low_95", "high_95"}


def test_the_ranking_gives_measured_objects_in_order(tried_bench: TriedBench, client: TestClient):
    answer = client.get("/api/ranking").json()
    first, second, last = answer["ranking"]
    assert [line["model"] for line in answer["ranking"]] == ["Model 1", "Lamp", "Untried"]
    assert set(first["clean_air_delivery_rate_m3_per_h"]) == MEASURED
    assert first["clean_air_delivery_rate_m3_per_h"]["value"] == pytest.approx(30 * 5.4, rel=0.05)
    assert set(first["standard_clearing_time_min"]) == MEASURED
    assert first["time_to_clear_min"]["reached"] is True
    assert (first["trials"], first["usable_trials"]) == (2, 2)
    assert second["measurable"] is False
    assert second["at_most_m3_per_h"] > 0
    assert last["clean_air_delivery_rate_m3_per_h"] is None
    assert last["trials"] == 0
    assert answer["units_on_bench"] == 3


def test_the_ranking_takes_the_page_s_own_address(tried_bench: TriedBench, client: TestClient):
    query = "setting=highest&max_price=&search=model&sort=name&units=us&room_area_ft2=100"
    answer = client.get(f"/api/ranking?{query}")
    assert answer.status_code == 200, answer.text
    assert client.get(f"/?{query}").status_code == 200
    assert [line["model"] for line in answer.json()["ranking"]] == ["Model 1"]
    assert {cut["field"] for cut in answer.json()["removed"]} == {"search"}


def test_the_ranking_pages(tried_bench: TriedBench, client: TestClient):
    first = client.get("/api/ranking?limit=2").json()
    second = client.get("/api/ranking", params={"limit": 2, "cursor": first["next_cursor"]}).json()
    assert [line["model"] for line in first["ranking"] + second["ranking"]] == ["Model 1", "Lamp", "Untried"]
    assert second["next_cursor"] is None


@pytest.mark.parametrize(
    ("query", "field"),
    [
        ("max_price=cheap", "max_price"),
        ("max_price=-1", "max_price"),
        ("setting=warp", "setting"),
        ("room_id=99", "room_id"),
        ("sort=beauty", "sort"),
        ("limit=0", "limit"),
        ("cursor=x", "cursor"),
        ("colour=red", "colour"),
        ("hours_per_day=25", "hours_per_day"),
        ("max_sound_dba=NaN", "max_sound_dba"),
    ],
)
def test_a_wrong_question_is_refused_by_its_field(tried_bench: TriedBench, client: TestClient, query: str, field: str):
    answer = client.get(f"/api/ranking?{query}")
    assert answer.status_code == 422
    assert field in [mistake["field"] for mistake in answer.json()["errors"]]


def test_the_running_cost_of_a_steady_load(tried_bench: TriedBench, client: TestClient):
    """12.5 W for 8760 h is 109.5 kWh; at 0.16 a kilowatt-hour that costs 17.52 a year (arithmetic)."""
    answer = client.get("/api/running-cost?hours_per_day=24&days_per_year=365").json()
    cost = next(line for line in answer["costs"] if line["unit_id"] == tried_bench.strong_unit_id)
    assert cost["energy_kwh_per_year"]["value"] == pytest.approx(109.5)
    assert cost["energy_cost_per_year"] == pytest.approx(17.52)
    assert set(cost["cost_per_year"]) == MEASURED
    assert cost["at_least"] is True  # nothing is known of its filters
    assert "not recorded" in " ".join(cost["missing"])
    assert cost["purchase_price"] == 199.0
    assert cost["cost_over_years"][0] == 199.0
    assert cost["cost_over_years"][5] == pytest.approx(199.0 + 5 * 17.52, rel=1e-6)
    assert (answer["currency"], answer["price_per_kwh"]) == ("USD", 0.16)


def test_the_running_cost_without_a_price_says_what_is_needed(client: TestClient, small_bench: SmallBench):
    answer = client.get("/api/running-cost")
    assert answer.status_code == 422
    assert "No price of a kilowatt-hour is known" in answer.json()["detail"]
    assert client.get("/api/running-cost?price_per_kwh=0.3").status_code == 200


@pytest.mark.parametrize("query", ["years=0", "hours_per_day=25", "limit=0", "cursor=x", "setting=warp", "colour=1"])
def test_a_wrong_question_about_cost_is_refused(tried_bench: TriedBench, client: TestClient, query: str):
    answer = client.get(f"/api/running-cost?{query}")
    assert answer.status_code == 422
    assert answer.json()["errors"][0]["field"] == query.split("=")[0]


def test_an_empty_bench_gives_empty_lists(client: TestClient):
    ranking = client.get("/api/ranking").json()
    assert (ranking["ranking"], ranking["room"], ranking["next_cursor"]) == ([], None, None)
    assert client.get("/api/running-cost?price_per_kwh=0.2").json()["costs"] == []


def test_the_answers_hold_no_nan(tried_bench: TriedBench, client: TestClient):
    def strict(value: str) -> float:
        raise AssertionError(f"the answer holds {value}")

    for path in ("/api/ranking?setting=every", "/api/running-cost", "/api/trials", "/api/units"):
        json.loads(client.get(path).text, parse_constant=strict)
