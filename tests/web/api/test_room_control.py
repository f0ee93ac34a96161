"""Control charts, changes and check units of a room through the API."""

import pytest
from fastapi.testclient import TestClient
from sqlalchemy import Engine

from app.storage.engine import session_scope
from tests.conftest import SmallBench
from tests.sample_data.control_bench import add_runs, shifted

CHANGE = {"changed_on": "2026-02-03", "kind": "furniture", "words": "new sofa", "noted_by": "Ada"}


@pytest.fixture
def path(small_bench: SmallBench) -> str:
    return f"/api/rooms/{small_bench.room_id}"


def test_the_charts_hold_limits_runs_and_shifts(client: TestClient, path: str, store: Engine, small_bench: SmallBench):
    with session_scope(store) as session:
        ids = add_runs(session, small_bench.room_id, shifted())
    answer = client.get(f"{path}/control-charts").json()
    assert (answer["channel"], answer["aerosol"], answer["left_out_trials"]) == ("pm2_5", "smoke", [])
    chart = answer["natural_decay_per_h"]
    assert [point["trial_id"] for point in chart["points"]] == ids
    [phase] = chart["phases"]
    assert phase["limits"]["reference_trials"] == ids[:16]
    assert phase["limits"]["centre"]["value"] == pytest.approx(0.5, abs=0.02)
    [shift] = chart["shifts"]
    assert shift["ended_on"] is None
    assert shift["change"]["low_95"] <= 0.12 <= shift["change"]["high_95"]
    outside = [point for point in chart["points"] if point["outside"]]
    assert all(point["value"]["value"] > point["high"] for point in outside)
    assert answer["check_unit_m3_per_h"]["points"] == []
    assert "standard deviations within" in answer["method"]


def test_changes_and_check_units_are_entered_and_listed(client: TestClient, path: str, small_bench: SmallBench):
    stored = client.post(f"{path}/changes", json=CHANGE)
    assert stored.status_code == 201, stored.text
    assert CHANGE.items() <= stored.json().items()
    [listed] = client.get(f"{path}/changes").json()["changes"]
    assert CHANGE.items() <= listed.items()
    mark = {"setting_id": small_bench.high_setting_id, "valid_from": "2026-01-05"}
    stored = client.post(f"{path}/check-units", json=mark)
    assert stored.status_code == 201, stored.text
    assert stored.json()["name"] == "Maker A Model 1, high"
    [listed] = client.get(f"{path}/check-units").json()["check_units"]
    assert mark.items() <= listed.items()
    assert client.post(f"{path}/check-units", json=mark).status_code == 409


@pytest.mark.parametrize(
    ("told", "message"),
    [
        ({"changed_on": "2099-01-01"}, "which is in the future"),
        ({"reference_until": "2026-12-01"}, "but no new limits begin"),
        ({"kind": "ghosts"}, "furniture"),
        ({"colour": "red"}, "colour"),
    ],
)
def test_a_wrong_change_is_refused(client: TestClient, path: str, told: dict, message: str):
    answer = client.post(f"{path}/changes", json=CHANGE | told)
    assert answer.status_code == 422
    assert message in answer.text
    assert client.get(f"{path}/changes").json()["changes"] == []


def test_an_unknown_room_or_setting_answers_404(client: TestClient, path: str):
    assert client.get("/api/rooms/99/control-charts").status_code == 404
    assert client.get("/api/rooms/99/changes").status_code == 404
    assert client.get("/api/rooms/99/check-units").status_code == 404
    assert client.post("/api/rooms/99/changes", json=CHANGE).status_code == 404
    assert client.post(f"{path}/check-units", json={"setting_id": 99, "valid_from": "2026-01-05"}).status_code == 404
