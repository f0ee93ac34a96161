"""The stream of a live run: what it sends, and that a client that comes back misses nothing."""

import json
from datetime import datetime
from typing import Any

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient

from app.web.api.runs import stream
from tests.conftest import SmallBench
from tests.web.api.runs.test_routes import log_until_now, lot_of, started


@pytest.fixture(autouse=True)
def _a_short_stream(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(stream, "_LASTS_S", 0.0)


def events_of(client: TestClient, run_id: int, last: str | None = None) -> list[tuple[str, str, Any]]:
    """Name, id and data of every event of one stream."""
    headers = {} if last is None else {"Last-Event-ID": last}
    answer = client.get(f"/api/runs/{run_id}/stream", headers=headers)
    assert answer.headers["content-type"].startswith("text/event-stream")
    found = []
    for block in answer.text.split("\n\n"):
        lines = dict(line.split(": ", 1) for line in block.splitlines() if ": " in line)
        if "event" in lines:
            found.append((lines["event"], lines["id"], json.loads(lines["data"])))
    return found


def test_a_stream_begins_with_everything_and_goes_on_with_the_news(client: TestClient, small_bench: SmallBench):
    run_id = started(client, small_bench)["id"]
    lot = lot_of(log_until_now(30.0))
    client.post(f"/api/runs/{run_id}/readings", json={"readings": lot[:-20]})
    (readings, first), (state, also) = [(event, data) for event, _, data in events_of(client, run_id)]
    assert (readings, state) == ("readings", "state")
    assert first["whole"]
    assert first["levels"] == [reading["pm2_5"] for reading in lot[:-20]]
    assert also == client.get(f"/api/runs/{run_id}").json() | {"at": also["at"]}
    seen = str(also["changes"])
    assert [event for event, _, _ in events_of(client, run_id, seen)] == ["state"]
    client.post(f"/api/runs/{run_id}/readings", json={"readings": lot[-20:-10]})
    client.post(f"/api/runs/{run_id}/readings", json={"readings": lot[-15:]})
    event, at, more = events_of(client, run_id, seen)[0]
    assert (event, more["whole"]) == ("readings", False)
    assert more["levels"] == [reading["pm2_5"] for reading in lot[-20:]]
    assert int(at) > int(seen)


def test_a_late_reading_is_news(client: TestClient, small_bench: SmallBench):
    """An out-of-order reading comes after later ones were sent, and a client that resumes still gets it."""
    run_id = started(client, small_bench)["id"]
    lot = lot_of(log_until_now(30.0))
    client.post(f"/api/runs/{run_id}/readings", json={"readings": lot[:10] + lot[11:]})
    seen = events_of(client, run_id)[-1][1]
    client.post(f"/api/runs/{run_id}/readings", json={"readings": lot})
    _, _, points = events_of(client, run_id, seen)[0]
    assert points["levels"] == [lot[10]["pm2_5"]]
    assert points["times_ms"] == [round(datetime.fromisoformat(lot[10]["time"]).timestamp() * 1000)]


def test_a_stream_without_news_keeps_its_connection(
    client: TestClient, small_bench: SmallBench, monkeypatch: pytest.MonkeyPatch
):
    """A comment after the state, and the state again only where it has changed by itself."""
    run_id = started(client, small_bench)["id"]
    for name, seconds in (("_LASTS_S", 0.3), ("_STATE_EVERY_S", 0.0), ("_LOOK_EVERY_S", 0.05)):
        monkeypatch.setattr(stream, name, seconds)
    blocks = client.get(f"/api/runs/{run_id}/stream").text.split("\n\n")
    assert blocks[0] == "retry: 1000"
    assert blocks[1].startswith("event: state\n")
    assert set(blocks[2:]) == {": still here", ""}


def test_a_server_that_stops_ends_its_streams(
    app: FastAPI, client: TestClient, small_bench: SmallBench, monkeypatch: pytest.MonkeyPatch
):
    run_id = started(client, small_bench)["id"]
    monkeypatch.setattr(stream, "_LASTS_S", 1000.0)
    app.state.stopping = True
    assert [event for event, _, _ in events_of(client, run_id)] == ["state"]


def test_a_finished_run_ends_its_stream(client: TestClient, small_bench: SmallBench):
    run_id = started(client, small_bench)["id"]
    client.post(f"/api/runs/{run_id}/readings", json={"readings": lot_of(log_until_now(30.0))})
    trial_id = client.post(f"/api/runs/{run_id}/finish").json()["id"]
    assert events_of(client, run_id)[-1][2] == {"status": "finished", "trial_id": trial_id}


def test_an_unknown_run_has_no_stream(client: TestClient, small_bench: SmallBench):
    answer = client.get("/api/runs/77/stream")
    assert (answer.status_code, answer.headers["content-type"]) == (404, "application/problem+json")
    assert answer.json()["detail"].startswith("There is no live run 77 in this bench.")
