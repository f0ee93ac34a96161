"""Comparison and rank intervals as JSON, compared with the services and the pages."""

import html
import re

import pytest
from fastapi.testclient import TestClient
from sqlalchemy import Engine

from app.storage.engine import session_scope
from tests.sample_data.compared_bench import ComparedBench, fill

MEASURED = {"value", "uncertainty", "low_95", "high_95"}


@pytest.fixture
def bench(store: Engine) -> ComparedBench:
    with session_scope(store) as session:
        return fill(session)


def compared(client: TestClient, bench: ComparedBench, *models: str) -> dict:
    query = "&".join(f"setting_id={setting_id}" for setting_id in bench.ids(*models))
    answer = client.get(f"/api/comparison?{query}")
    assert answer.status_code == 200, answer.text
    return answer.json()


def of(answer: dict, quantity: str) -> dict:
    return next(finding for finding in answer["findings"] if finding["quantity"] == quantity)


def test_two_settings_are_compared_in_figures_and_in_the_words_of_the_page(bench: ComparedBench, client: TestClient):
    answer = compared(client, bench, "Alder", "Birch")
    rate = of(answer, "clean_air_delivery_rate")
    assert set(rate["difference"]) == set(rate["ratio"]) == MEASURED
    assert rate["told_apart"] is True
    assert rate["ratio"]["low_95"] > 1
    assert rate["probability_first_higher"] > 0.975
    assert rate["unit"] == "m³/h"
    one, other = (setting["setting"]["id"] for setting in answer["settings"])
    assert rate["setting_id"] == other
    page = html.unescape(client.get(f"/compare?setting_id={one}&setting_id={other}").text)
    assert rate["words"] in re.sub(r"\s+", " ", page)
    assert [setting["place"] for setting in answer["settings"]] == [1, 2]


def test_the_difference_is_the_first_less_the_other_whichever_way_it_is_asked(bench: ComparedBench, client: TestClient):
    there = of(compared(client, bench, "Alder", "Cedar"), "clean_air_delivery_rate")
    back = of(compared(client, bench, "Cedar", "Alder"), "clean_air_delivery_rate")
    assert there["difference"]["value"] == pytest.approx(-back["difference"]["value"])
    assert there["difference"]["low_95"] == pytest.approx(-back["difference"]["high_95"])
    assert there["probability_first_higher"] == pytest.approx(1 - back["probability_first_higher"])


def test_what_cannot_be_compared_has_words_and_no_figures(bench: ComparedBench, client: TestClient):
    answer = compared(client, bench, "Alder", "Elm")
    sound = of(answer, "sound")
    assert sound["words"] == "The sound level of Elm was not measured."
    assert (sound["told_apart"], sound["difference"], sound["ratio"]) == (None, None, None)
    assert answer["settings"][1]["rank_low_95"] is None


@pytest.mark.parametrize(
    ("query", "status", "found"),
    [
        ("setting_id=1", 422, "setting_id"),
        ("setting_id=1&setting_id=1", 422, "Setting 1 was selected twice. Remove one."),
        ("setting_id=1&setting_id=999999", 404, "999999"),
        ("setting_id=1&setting_id=2&chanel=pm1", 422, "chanel"),
    ],
)
def test_a_comparison_that_cannot_be_made_is_a_problem(bench: ComparedBench, client: TestClient, query, status, found):
    answer = client.get(f"/api/comparison?{query}")
    assert answer.status_code == status
    assert answer.headers["content-type"].startswith("application/problem+json")
    assert found in answer.text


def test_the_order_holds_the_ranks_of_the_page(bench: ComparedBench, client: TestClient):
    answer = client.get("/api/ranking/order").json()
    lines = {line["model"]: line for line in answer["lines"]}
    ranks = {name: (line["place"], line["rank_low_95"], line["rank_high_95"]) for name, line in lines.items()}
    assert ranks == {"Alder": (1, 1, 1), "Birch": (2, 2, 3), "Cedar": (3, 2, 3), "Dud": (None, 4, 4)}
    assert lines["Birch"]["not_told_apart_from"] == [lines["Cedar"]["setting"]["id"]]
    assert answer["groups"] == [[lines["Birch"]["setting"]["id"], lines["Cedar"]["setting"]["id"]]]
    assert (answer["interval_kind"], answer["certain_ranks"]) == ("simultaneous", 1)
    assert answer["without_value"] == list(bench.ids("Elm"))
    assert answer["invented"] is False


def test_the_order_by_sound_and_with_the_filters_of_the_ranking(bench: ComparedBench, client: TestClient):
    answer = client.get("/api/ranking/order?by=sound&max_sound_dba=49").json()
    assert {line["model"] for line in answer["lines"]} == {"Birch", "Cedar"}


def test_an_order_by_what_has_no_interval_is_a_problem(bench: ComparedBench, client: TestClient):
    answer = client.get("/api/ranking/order?by=price")
    assert answer.status_code == 422
    assert "standard_clearing_time" in answer.text


def test_the_order_comes_in_parts(bench: ComparedBench, client: TestClient):
    first = client.get("/api/ranking/order?limit=3").json()
    rest = client.get(f"/api/ranking/order?limit=3&cursor={first['next_cursor']}").json()
    assert [line["model"] for line in (*first["lines"], *rest["lines"])] == ["Alder", "Birch", "Cedar", "Dud"]
    assert (first["total_lines"], rest["next_cursor"]) == (4, None)
    assert rest["groups"] == first["groups"]
    refused = client.get("/api/ranking/order?limit=0")
    assert (refused.status_code, "limit" in refused.text) == (422, True)
