"""Units under test through the API: models, paging, changes and errors."""

import json

import pytest
from fastapi.testclient import TestClient

from app.settings import Settings
from tests.conftest import SmallBench

PROBLEM = "application/problem+json"


def test_health_names_store_and_version_without_a_password(client: TestClient, settings: Settings):
    answer = client.get("/api/health").json()
    assert set(answer) == {"status", "store", "version"}
    assert answer["status"] == "ok"
    assert answer["store"].startswith("postgresql" if settings.database_url else "sqlite:///")


def test_a_unit_comes_back_as_it_was_sent(client: TestClient):
    sent = {
        "maker": "Maker B",
        "model": "Model 2",
        "kind": "water wash",
        "mass_kg": 6.5,
        "settings": [{"name": "low"}, {"name": "high", "is_highest": True}],
        "price": {"amount": 129.0, "currency": "eur", "seen_on": "2026-02-01", "source": "shop"},
        "who": "Ada",
    }
    answer = client.post("/api/units", json=sent)
    assert answer.status_code == 201, answer.text
    unit = answer.json()
    assert (unit["maker"], unit["kind"], unit["mass_kg"]) == ("Maker B", "water wash", 6.5)
    assert [(s["name"], s["position"], s["is_highest"]) for s in unit["settings"]] == [
        ("low", 1, False),
        ("high", 2, True),
    ]
    assert unit["prices"] == [{"amount": 129.0, "currency": "EUR", "seen_on": "2026-02-01", "source": "shop"}]
    assert unit["consumables_state"] == "unknown"
    assert client.get(f"/api/units/{unit['id']}").json() == unit


def test_the_same_unit_twice_answers_409_and_stores_nothing(client: TestClient, small_bench: SmallBench):
    answer = client.post("/api/units", json={"maker": "maker a", "model": "MODEL 1"})
    assert answer.status_code == 409
    assert answer.headers["content-type"] == PROBLEM
    assert "already exists as unit 1" in answer.json()["detail"]
    assert len(client.get("/api/units").json()["units"]) == 1


def test_a_refused_part_leaves_nothing_behind(client: TestClient):
    answer = client.post(
        "/api/units", json={"maker": "Maker C", "model": "3", "settings": [{"name": "low"}, {"name": "LOW"}]}
    )
    assert answer.status_code == 409
    assert client.get("/api/units").json()["units"] == []


@pytest.mark.parametrize(
    ("body", "field", "message"),
    [
        ({"model": "1"}, "maker", "This field is required."),
        ({"maker": " ", "model": "1"}, "maker", "The maker is empty"),
        ({"maker": "A", "model": "1", "mass_kg": -1}, "mass_kg", "Found '-1'. Needed: a number above 0.0."),
        ({"maker": "A", "model": "1", "kind": "magic"}, "kind", "Needed: one of 'mechanical filter'"),
        ({"maker": "A", "model": "1", "colour": "red"}, "colour", "Unknown field."),
        ({"maker": "A", "model": "x\u0000y"}, "model", "contains a NUL character"),
        ({"maker": "A", "model": "1", "bought_on": "1.2.2026"}, "bought_on", "Needed: a date such as 2026-03-31."),
    ],
)
def test_a_wrong_unit_is_refused_by_its_field(client: TestClient, body: dict[str, object], field: str, message: str):
    answer = client.post("/api/units", json=body)
    assert answer.status_code == 422
    assert answer.headers["content-type"] == PROBLEM
    mistakes = {mistake["field"]: mistake["message"] for mistake in answer.json()["errors"]}
    assert message in mistakes[field]


def test_a_body_that_is_no_json_is_refused_with_words(client: TestClient):
    answer = client.post("/api/units", content=b"{", headers={"content-type": "application/json"})
    assert answer.status_code == 422
    assert "JSON" in answer.json()["detail"]


def test_not_a_number_in_a_body_is_refused(client: TestClient):
    text = '{"maker": "A", "model": "1", "mass_kg": NaN}'
    answer = client.post("/api/units", content=text, headers={"content-type": "application/json"})
    assert answer.status_code == 422


def test_a_change_keeps_the_rest(client: TestClient, small_bench: SmallBench):
    address = f"/api/units/{small_bench.unit_id}"
    before = client.get(address).json()
    after = client.patch(address, json={"mass_kg": 4.2, "who": "Ada", "why": "weighed"}).json()
    assert after == {**before, "mass_kg": 4.2}
    for name in ("kind", "maker", "notes"):
        refused = client.patch(address, json={name: None})
        assert refused.status_code == 422
        assert refused.json()["errors"] == [{"field": name, "message": "This field is required."}]
    hidden = client.patch(address, json={"notes": "un\x00seen"}).json()
    assert (hidden["status"], hidden["errors"][0]["field"]) == (422, "notes")  # as in the body, not as in a form
    assert client.get(address).json() == after


def test_a_unit_that_is_not_there(client: TestClient):
    assert client.get("/api/units/7").status_code == 404
    assert client.patch("/api/units/7", json={}).status_code == 404
    assert client.get(f"/api/units/{10**30}").status_code == 422
    assert client.get("/api/units/first").status_code == 422


def test_the_list_pages_without_gaps_or_repeats(client: TestClient):
    for number in range(7):
        client.post("/api/units", json={"maker": "Maker", "model": f"{number}"})
    seen, cursor = [], None
    for _ in range(4):
        query = {"limit": 3} | ({"cursor": cursor} if cursor else {})
        part = client.get("/api/units", params=query).json()
        seen += [unit["model"] for unit in part["units"]]
        cursor = part["next_cursor"]
        if cursor is None:
            break
    assert seen == [f"{number}" for number in range(7)]


@pytest.mark.parametrize("query", ["limit=0", "limit=501", "limit=x", "cursor=abc", "cursor=-1", "cursor=%00"])
def test_a_wrong_place_in_a_list_is_refused(client: TestClient, query: str):
    answer = client.get(f"/api/units?{query}")
    assert answer.status_code == 422
    assert answer.json()["errors"][0]["field"] in ("limit", "cursor")


def test_search_takes_signs_as_they_are(client: TestClient):
    client.post("/api/units", json={"maker": "Maker", "model": "100%_A"})
    client.post("/api/units", json={"maker": "Maker", "model": "100 B"})
    found = client.get("/api/units", params={"search": "100%_"}).json()["units"]
    assert [unit["model"] for unit in found] == ["100%_A"]


def test_lists_that_scripts_find_ids_in(client: TestClient, small_bench: SmallBench):
    room = client.get("/api/rooms").json()["rooms"][0]
    assert (room["id"], room["room_volume_m3"]) == (small_bench.room_id, 30.0)
    assert client.get("/api/loggers").json()["loggers"][0]["name"] == "Logger A"
    assert client.get("/api/smoke-sources").json()["smoke_sources"][0]["aerosol"] == "smoke"
    assert client.get("/api/tariffs").json().items() >= {"tariffs": [], "next_cursor": None}.items()
    assert client.get("/api/logger-profiles").json()["logger_profiles"] == []


def test_every_problem_leads_to_its_meaning(client: TestClient):
    document = client.get("/api/units/7").json()
    meaning = client.get(document["type"]).json()
    assert meaning["status"] == 404
    assert "not in the store" in meaning["meaning"] or "Page not found" in meaning["meaning"]
    assert client.get("/api/problems/unreadable-log").json()["status"] == 422
    assert client.get("/api/problems/none").status_code == 404


def test_the_schema_declares_problems_and_refuses_unknown_fields(client: TestClient):
    schema = client.get("/api/openapi.json").json()
    assert json.dumps(schema)
    for path, operations in schema["paths"].items():
        for method, operation in operations.items():
            if path != "/api/health":
                assert PROBLEM in operation["responses"]["422"]["content"], (method, path)
    assert schema["components"]["schemas"]["AskedUnit"]["additionalProperties"] is False
    assert "HTTPValidationError" not in schema["components"]["schemas"]


def test_a_body_that_is_no_json_is_said_to_be_none(client: TestClient):
    answer = client.patch("/api/units/1", content=b"{ not json", headers={"content-type": "application/json"})
    assert answer.status_code == 422
    problem = answer.json()
    assert problem["errors"][0]["field"] == "body"
    assert problem["errors"][0]["message"].startswith("This is not JSON (")
    assert problem["errors"][0]["message"].endswith("Send an object such as {}.")
