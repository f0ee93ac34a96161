"""Everything that the pages enter of a unit is entered through the API as well, by the same rules."""

from collections.abc import Callable
from contextlib import nullcontext
from pathlib import Path
from typing import Any

import httpx
import pytest
from fastapi.testclient import TestClient

from tests.conftest import SmallBench
from tests.sample_data.api_entries import API_ENTRIES, DAY

Entry = Callable[[int], dict[str, Any]]


@pytest.fixture
def path(small_bench: SmallBench) -> str:
    return f"/api/units/{small_bench.unit_id}"


@pytest.mark.parametrize(("what", "entry"), API_ENTRIES.items())
def test_an_entry_is_answered_as_it_was_stored(
    client: TestClient, small_bench: SmallBench, path: str, what: str, entry: Entry
):
    asked = entry(small_bench.high_setting_id)
    answer = client.post(f"{path}/{what}", json=asked)
    assert answer.status_code == 201, answer.text
    stored = answer.json()
    assert stored["id"] >= 1
    assert stored["unit_id"] == small_bench.unit_id
    asked.pop("price", None)
    if what == "ratings":
        asked |= {"stated_value": asked.pop("value"), "stated_unit": asked.pop("unit_symbol")}
    for name, value in asked.items():
        assert stored[name] == (value.upper() if name == "currency" else value)


def test_the_unit_shows_what_was_entered(client: TestClient, small_bench: SmallBench, path: str):
    for what, entry in API_ENTRIES.items():
        client.post(f"{path}/{what}", json=entry(small_bench.high_setting_id)).raise_for_status()
    unit = client.get(path).json()
    sound = {each["setting_id"]: each for each in unit["sound"]}[small_bench.high_setting_id]
    assert [each["level_dba"] for each in sound["readings"]] == [51.4]
    power = {each["setting_id"]: each for each in unit["power"]}[small_bench.high_setting_id]
    assert power["power_w"]["value"] == pytest.approx(38.2)
    assert 249.0 in [each["amount"] for each in unit["prices"]]
    part = next(each for each in unit["consumables"] if each["name"] == "particle filter")
    assert (part["name"], part["prices"][0]["amount"]) == ("particle filter", 59.0)
    assert unit["claims"][0]["verdict"] == "supported"  # 51.4 dB(A) without the background is below 52
    # 200 ft³/min in m³/h: 1 ft is 0.3048 m exactly (international foot)
    assert unit["ratings"][0]["clean_air_delivery_rate_m3_per_h"] == pytest.approx(200 * 0.3048**3 * 60)
    assert unit["ozone"]["tests"][0]["below_detection"] is True


def test_a_part_without_a_price_has_no_price_id(client: TestClient, path: str):
    stored = client.post(f"{path}/parts", json={"name": "prefilter", "washable": True}).json()
    assert stored["price_id"] is None
    again = client.post(f"{path}/parts", json={"name": "prefilter"})
    assert again.status_code == 409
    assert "prefilter" in again.json()["detail"]


@pytest.mark.parametrize(
    ("what", "change", "found"),
    [
        ("sound-levels", {"level_dba": 400.0}, "level_dba"),
        ("sound-levels", {"setting_id": None}, "setting_id"),
        ("power-levels", {"power_w": -1.0}, "power_w"),
        ("prices", {"currency": "dollar"}, "dollar"),
        ("prices", {"source": ""}, "source"),
        ("claims", {"quantity": "colour"}, "quantity"),
        ("ratings", {"aerosol": "fog"}, "aerosol"),
        ("ozone-tests", {"tested_on": "2099-01-01"}, "future"),
        ("sound-levels", {"distance_m": 1e-300}, "distance_m"),
        ("ozone-tests", {"tested_on": "1066-01-01"}, '"tested_on"'),
        ("parts", {"colour": "red"}, "colour"),
    ],
)
def test_a_wrong_entry_names_what_is_wrong_and_stores_nothing(
    client: TestClient, small_bench: SmallBench, path: str, what: str, change: dict[str, Any], found: str
):
    before = client.get(path).json()
    answer = client.post(f"{path}/{what}", json=API_ENTRIES[what](small_bench.high_setting_id) | change)
    assert answer.status_code == 422
    assert answer.headers["content-type"] == "application/problem+json"
    assert found in answer.text
    assert client.get(path).json() == before


def test_a_part_with_a_wrong_price_is_not_stored_without_it(client: TestClient, path: str):
    part = {"name": "prefilter", "price": {"amount": 5.0, "currency": "USD", "seen_on": "2999-01-01", "source": "shop"}}
    assert client.post(f"{path}/parts", json=part).status_code == 422
    assert "prefilter" not in [each["name"] for each in client.get(path).json()["consumables"]]


def test_the_setting_of_another_unit_is_refused(client: TestClient, small_bench: SmallBench):
    other = client.post("/api/units", json={"maker": "Maker Z", "model": "9"}).json()["id"]
    level = API_ENTRIES["sound-levels"](small_bench.high_setting_id)
    answer = client.post(f"/api/units/{other}/sound-levels", json=level)
    assert answer.status_code in (404, 422)
    assert client.post(f"/api/units/{2**31 - 1}/prices", json=API_ENTRIES["prices"](0)).status_code == 404


def test_power_without_a_setting_is_that_of_standby(client: TestClient, path: str):
    client.post(f"{path}/power-levels", json={"power_w": 0.6, "measured_on": DAY}).raise_for_status()
    standby = [each for each in client.get(path).json()["power"] if each["setting_id"] is None]
    assert standby[0]["power_w"]["value"] == pytest.approx(0.6)


def test_the_example_in_the_readme_runs(
    client: TestClient, small_bench: SmallBench, path: str, monkeypatch: pytest.MonkeyPatch
):
    readme = (Path(__file__).parents[3] / "README.md").read_text(encoding="utf-8")
    example = readme.split("```python\n")[1].split("```")[0]
    assert "sound-levels" in example
    monkeypatch.setattr(httpx, "Client", lambda **_: nullcontext(client))
    exec(compile(example, "README.md", "exec"), {})
    sound = {each["setting_id"]: each for each in client.get(path).json()["sound"]}
    assert [each["level_dba"] for each in sound[small_bench.high_setting_id]["readings"]] == [51.4]
