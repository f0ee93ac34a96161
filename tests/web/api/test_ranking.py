"""Ranking and running cost through the API, compared with the numbers of the pages."""

import json

import pytest
from fastapi.testclient import TestClient
from sqlalchemy import Engine, delete

from app.services.measurements.definitions import NewSoundMeasurement
from app.services.measurements.sound_levels import add_sound_measurement
from app.services.units.consumables import add_consumable
from app.services.units.definitions import NewConsumable
from app.storage.engine import session_scope
from app.storage.models.bench import Bench
from app.storage.models.units_under_test import Price
from tests.conftest import NOW, SmallBench
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
    assert cost["energy_cost_per_year"]["value"] == pytest.approx(17.52)
    # 0.1 W of the meter, and its display step of 0.1 W as a rectangular distribution (JCGM 100:2008, 4.3.7)
    watts = (0.1**2 + 0.1**2 / 12) ** 0.5
    assert cost["energy_cost_per_year"]["uncertainty"] == pytest.approx(watts * 8.76 * 0.16)
    assert set(cost["cost_per_year"]) == MEASURED
    assert cost["at_least"] is True  # nothing is known of its filters
    assert "not recorded" in " ".join(cost["missing"])
    assert cost["purchase_price"] == 199.0
    assert cost["cost_over_years"][0] == {"value": 199.0, "uncertainty": 0.0, "low_95": 199.0, "high_95": 199.0}
    assert cost["cost_over_years"][5]["value"] == pytest.approx(199.0 + 5 * 17.52, rel=1e-6)
    assert cost["cost_over_years"][5]["uncertainty"] == pytest.approx(5 * cost["cost_per_year"]["uncertainty"])
    assert (answer["currency"], answer["price_per_kwh"]) == ("USD", 0.16)


def test_the_running_cost_without_a_price_says_what_is_needed(client: TestClient, small_bench: SmallBench):
    answer = client.get("/api/running-cost")
    assert answer.status_code == 422
    assert "No electricity price is set" in answer.json()["detail"]
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


def bare_measurements(found: object, path: str = "") -> list[str]:
    """Numbers with a measured unit in their name outside a measured object, in a nested response."""
    if isinstance(found, list):
        return [name for one in found for name in bare_measurements(one, path)]
    if not isinstance(found, dict) or set(found) >= MEASURED:
        return []
    endings = ("_dba", "_w", "_per_year", "_m3_per_h", "_cfm", "_min", "_per_h", "_years")
    bare = [
        f"{path}.{name}"
        for name, value in found.items()
        if name.endswith(endings) and isinstance(value, int | float) and not isinstance(value, bool)
    ]
    return bare + [name for key, value in found.items() for name in bare_measurements(value, f"{path}.{key}")]


# Choices of the reader or of the log, a limit, and a quantity that is itself an uncertainty.
KNOWN_WITHOUT = {
    ".days_per_year", ".running_hours_per_year", ".ranking.at_most_m3_per_h", ".costs.running_hours_per_year",
    ".trials.channels.pm1.window_sensitivity_per_h", ".trials.channels.pm2_5.window_sensitivity_per_h",
    ".trials.channels.pm10.window_sensitivity_per_h", ".trials.channels.pm1.humidity_uncertainty_per_h",
    ".trials.channels.pm2_5.humidity_uncertainty_per_h", ".trials.channels.pm10.humidity_uncertainty_per_h",
}  # fmt: skip


@pytest.mark.parametrize("path", ["/api/ranking?setting=every", "/api/running-cost", "/api/trials"])
def test_no_measured_number_stands_without_its_uncertainty(
    tried_bench: TriedBench, client: TestClient, store: Engine, path: str
):
    with session_scope(store) as session:
        for level in (41.0, 43.0):
            new = NewSoundMeasurement(
                level_dba=level, background_dba=25.0, distance_m=1.0, measured_on=NOW.date(), instrument_class="2"
            )
            add_sound_measurement(session, tried_bench.strong_unit_id, 2, new)
    answer = client.get(path).json()
    assert set(bare_measurements(answer)) <= KNOWN_WITHOUT
    if "ranking" in answer:
        level = next(line["sound"]["level_dba"] for line in answer["ranking"] if line["sound"])
        # two readings 2 dB apart, 1.0 dB as a rectangle for the meter (arithmetic)
        assert level["uncertainty"] == pytest.approx((1.0 + 1 / 3) ** 0.5, rel=0.02)
        assert level["low_95"] < level["value"] - 1.96 * level["uncertainty"]


@pytest.mark.parametrize(
    "path",
    ["ranking", "running-cost", "units", "units/1", "trials", "trials/3", "trials/3/readings", "rooms", "loggers",
     "smoke-sources", "logger-profiles", "tariffs"],
)  # fmt: skip
def test_every_answer_says_whether_the_bench_is_invented(
    tried_bench: TriedBench, client: TestClient, store: Engine, path: str
):
    answer = client.get(f"/api/{path}").json()
    assert (answer["invented"], answer["invented_words"]) == (False, "")
    with session_scope(store) as session:
        session.get_one(Bench, 1).invented = True
    answer = client.get(f"/api/{path}").json()
    assert answer["invented"] is True
    assert answer["invented_words"].startswith("Demonstration with invented data.")


def test_what_is_not_known_of_a_cost_is_null(store: Engine, client: TestClient, small_bench: SmallBench):
    """No power, no price of the filter, no price of the unit: a 0 in any of these places would read as free."""
    with session_scope(store) as session:
        add_consumable(session, small_bench.unit_id, NewConsumable(name="filter", life_months=6.0))
        add_consumable(session, small_bench.unit_id, NewConsumable(name="pad", washable=True))
        session.execute(delete(Price))
    cost = client.get("/api/running-cost?price_per_kwh=0.3").json()["costs"][0]
    assert (cost["energy_kwh_per_year"], cost["energy_cost_per_year"], cost["energy_at_least"]) == (None, None, True)
    assert (cost["cost_per_year"], cost["at_least"]) == (None, True)
    parts = {part["name"]: part for part in cost["consumables"]}
    assert parts["filter"]["cost_per_year"] is None
    assert "price is not recorded" in parts["filter"]["missing"]
    assert (parts["pad"]["cost_per_year"]["value"], parts["pad"]["missing"]) == (0.0, "")  # washed: known to be nothing
    assert cost["cost_over_years"] == [None] * 6
    assert cost["cost_over_years_at_least"] is True
    assert any("price" in sentence for sentence in cost["cost_over_years_missing"])
    line = client.get("/api/ranking?price_per_kwh=0.3").json()["ranking"][0]["running_cost"]
    assert (line["per_year"], line["at_least"]) == (None, True)
    assert any("not measured" in sentence for sentence in line["missing"])
