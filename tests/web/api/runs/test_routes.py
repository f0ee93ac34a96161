"""The API of live runs: start, readings, events, state, end, and its messages."""

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from fastapi.testclient import TestClient

from app.reading_files.read_log import read_log
from tests.conftest import SmallBench, decay_log


def started(client: TestClient, bench: SmallBench, **more: Any) -> dict[str, Any]:
    given = {"room_id": bench.room_id, "unit_under_test_id": bench.unit_id, "setting_id": bench.high_setting_id}
    answer = client.post("/api/runs", json=given | more)
    assert answer.status_code == 201, answer.text
    return dict(answer.json())


def lot_of(log: bytes) -> list[dict[str, Any]]:
    table = read_log(log, "log.csv")
    return [
        {"time": (table.started_at + timedelta(seconds=float(second))).isoformat()}
        | {name: float(levels[place]) for name, levels in table.levels.items()}
        for place, second in enumerate(table.elapsed_s)
    ]


def log_until_now(minutes: float = 60.0, rate: float = 6.0) -> bytes:
    """A log whose last reading is now: 10 min of background, 5 min of smoke, then the decay."""
    return decay_log(rate, minutes=minutes, started_at=datetime.now(UTC) - timedelta(minutes=minutes + 15))


def test_a_run_from_its_start_to_its_trial(client: TestClient, small_bench: SmallBench):
    run = started(client, small_bench)
    assert (run["status"], run["phase"], run["level"]) == ("open", "waiting", None)
    assert run["advice"][0]["code"] == "no_readings"
    log = log_until_now()
    lot = lot_of(log)
    address = f"/api/runs/{run['id']}"
    receipt = client.post(f"{address}/readings", json={"readings": lot}, headers={"Idempotency-Key": "1"}).json()
    assert (receipt["added"], receipt["repeated"], receipt["conflicts"]) == (len(lot), 0, 0)
    now = datetime.now(UTC)
    for kind, minutes in (("smoke lit", 65.0), ("unit on", 60.0)):
        event = {"kind": kind, "at": (now - timedelta(minutes=minutes)).isoformat(), "sent_at": now.isoformat()}
        state = client.post(f"{address}/events", json=event).json()
    assert state["phase"] == "decay"
    assert [event["kind"] for event in state["events"]] == ["smoke lit", "unit on"]
    rate = state["decay_rate_per_h"]
    assert rate["value"] == pytest.approx(6.0, rel=0.02)
    assert state["level"]["channel"] == "pm2_5"
    assert state["level"]["value"] == lot[-1]["pm2_5"]
    assert state["minutes_of_decay"] == pytest.approx(60.0, abs=0.2)
    half = (rate["high_95"] - rate["low_95"]) / 2 / rate["value"]
    assert state["precision"]["now"] == pytest.approx(half)
    assert any(each["code"] == "rate_known" for each in state["advice"])
    trial = client.post(f"{address}/finish")
    assert trial.status_code == 201, trial.text
    stored = trial.json()["channels"]["pm2_5"]
    assert stored["total_decay_per_h"] == pytest.approx(rate)  # the rate shown is the rate stored
    again = client.post(f"{address}/finish")
    assert (again.status_code, again.json()["id"]) == (200, trial.json()["id"])
    assert client.get(address).json()["status"] == "finished"


def test_items_are_named_as_for_a_trial(client: TestClient, small_bench: SmallBench):
    names = {"room": "Room A", "maker": "Maker A", "model": "Model 1", "setting": "low", "logger": "Logger A"}
    answer = client.post("/api/runs", json=names)
    assert answer.status_code == 201
    assert (answer.json()["setting"], answer.json()["unit_under_test"]["model"]) == ("low", "Model 1")
    assert (
        client.post("/api/runs", json={"room": "Nowhere"})
        .json()["detail"]
        .startswith("There is no room 'Nowhere' on the bench.")
    )
    assert client.post("/api/runs", json={}).status_code == 422


def test_a_repeat_is_safe(client: TestClient, small_bench: SmallBench):
    """A lost answer is asked for again: with the key nothing changes, without it equal readings are merged."""
    key = {"Idempotency-Key": "start 1"}
    given = {"room_id": small_bench.room_id}
    first = client.post("/api/runs", json=given, headers=key)
    again = client.post("/api/runs", json=given, headers=key)
    assert (first.status_code, again.status_code) == (201, 200)
    assert again.json()["id"] == first.json()["id"]
    address = f"/api/runs/{first.json()['id']}"
    lot = {"readings": lot_of(log_until_now(5.0))}
    receipts = [client.post(f"{address}/readings", json=lot, headers={"Idempotency-Key": "7"}).json() for _ in "ab"]
    assert receipts[0] == receipts[1]
    other = client.post(f"{address}/readings", json={"readings": lot["readings"][:3]}, headers={"Idempotency-Key": "7"})
    assert other.status_code == 409
    assert "The idempotency key '7' was used for other readings" in other.json()["detail"]
    without = client.post(f"{address}/readings", json=lot).json()
    assert (without["added"], without["repeated"], without["conflicts"]) == (0, len(lot["readings"]), 0)
    event = {"kind": "smoke lit"}
    for _ in "ab":
        state = client.post(f"{address}/events", json=event, headers={"Idempotency-Key": "tap 1"}).json()
    assert len(state["events"]) == 1


def test_readings_out_of_order_are_merged_and_a_conflict_is_named(client: TestClient, small_bench: SmallBench):
    address = f"/api/runs/{started(client, small_bench)['id']}"
    lot = lot_of(log_until_now(5.0))
    client.post(f"{address}/readings", json={"readings": lot[50:]})
    client.post(f"{address}/readings", json={"readings": lot[:60]})
    assert client.get(address).json()["readings"] == len(lot)
    wrong = lot[3] | {"pm2_5": lot[3]["pm2_5"] + 1.0, "relative_humidity": 40.0}
    receipt = client.post(f"{address}/readings", json={"readings": [wrong]}).json()
    assert (receipt["added"], receipt["repeated"], receipt["conflicts"]) == (0, 1, 1)
    named = receipt["conflicting"][0]
    assert (named["channel"], named["stored"], named["received"]) == ("pm2_5", lot[3]["pm2_5"], wrong["pm2_5"])
    state = client.get(address).json()
    assert state["conflicts"] == 1
    assert "1 value differed from the value stored for the same time; the first one received is used." in [
        each["message"] for each in state["advice"]
    ]


def test_an_event_can_be_undone(client: TestClient, small_bench: SmallBench):
    address = f"/api/runs/{started(client, small_bench)['id']}"
    state = client.post(f"{address}/events", json={"kind": "unit on"}).json()
    assert state["phase"] == "decay"
    undone = client.post(f"{address}/events", json={"undo": state["events"][0]["id"]}).json()
    assert undone["phase"] == "waiting"
    assert undone["events"][0]["undone_at"]
    assert client.post(f"{address}/events", json={"undo": 99}).status_code == 404
    assert client.post(f"{address}/events", json={}).status_code == 422


def test_a_tap_is_placed_by_the_difference_of_the_clocks(client: TestClient, small_bench: SmallBench):
    """The tablet is an hour ahead, the logger a day behind: the mark is where it was tapped in the log."""
    address = f"/api/runs/{started(client, small_bench)['id']}"
    behind = datetime.now(UTC) - timedelta(days=1)
    log = decay_log(6.0, minutes=60, started_at=behind - timedelta(minutes=75))
    client.post(f"{address}/readings", json={"readings": lot_of(log)})
    tablet = datetime.now(UTC) + timedelta(hours=1)
    tapped = {"kind": "unit on", "at": (tablet - timedelta(minutes=60)).isoformat(), "sent_at": tablet.isoformat()}
    state = client.post(f"{address}/events", json=tapped).json()
    assert state["logger_ahead_s"] == pytest.approx(-86_400, abs=15)
    assert "24.0\u00a0h behind the bench's clock; events are placed accordingly" in state["logger_clock"]
    assert state["minutes_of_decay"] == pytest.approx(60.0, abs=0.3)
    marks = client.post(f"{address}/finish").json()["marks"]
    assert marks["unit_on_s"] == pytest.approx(900.0, abs=20.0)


@pytest.mark.parametrize(
    ("reading", "words"),
    [
        ({"time": "2026-03-02T09:00:00", "pm2_5": 1.0}, "has no time zone"),
        ({"time": "2026-03-02T09:00:00Z", "pm25": 1.0}, "Reading 1 has the channel 'pm25', which is not known."),
        ({"time": "2026-03-02T09:00:00Z", "pm2_5": "high"}, "Needed: a number such as 12.5."),
        ({"time": "1970-01-01T00:00:07Z", "pm2_5": 1.0}, "a year from 1990 to 2100 is needed. Set the logger's clock."),
        ({"pm2_5": 1.0}, "This field is required."),
    ],
)
def test_a_bad_reading_is_refused_with_what_to_do(
    client: TestClient, small_bench: SmallBench, reading: dict[str, Any], words: str
):
    address = f"/api/runs/{started(client, small_bench)['id']}"
    answer = client.post(f"{address}/readings", json={"readings": [reading]})
    assert answer.status_code == 422
    assert words in answer.json()["detail"]
    assert client.get(address).json()["readings"] == 0


def test_more_than_sixteen_channels_are_refused(client: TestClient, small_bench: SmallBench):
    address = f"/api/runs/{started(client, small_bench)['id']}"
    reading = {"time": "2026-03-02T09:00:00Z"} | {f"count_{size}um": 1.0 for size in range(1, 18)}
    answer = client.post(f"{address}/readings", json={"readings": [reading]})
    assert answer.status_code == 422
    assert "'count_17um', but a live run holds at most 16 channels" in answer.json()["detail"]


def test_two_rooms_have_runs_of_their_own(client: TestClient, small_bench: SmallBench):
    assert client.post(
        "/rooms/add", data={"room": "Room B", "room_volume_m3": "20"}, follow_redirects=False
    ).is_redirect
    runs = [started(client, small_bench), started(client, small_bench, room_id=None, room="Room B")]
    for run, rate in zip(runs, (6.0, 3.0), strict=True):
        lot = lot_of(log_until_now(60.0, rate))
        client.post(f"/api/runs/{run['id']}/readings", json={"readings": lot})
    rates = [client.post(f"/api/runs/{run['id']}/finish").json() for run in runs]
    found = [trial["channels"]["pm2_5"]["total_decay_per_h"]["value"] for trial in rates]
    assert found == pytest.approx([6.0, 3.0], rel=0.02)


def test_a_file_replaces_the_readings_received(client: TestClient, small_bench: SmallBench):
    run = started(client, small_bench, source="file", unit_under_test_id=None, setting_id=None)
    log = log_until_now(30.0)
    address = f"/api/runs/{run['id']}"
    client.post(f"{address}/readings", json={"readings": lot_of(log)[:20]})
    fields = {"maker": "Maker A", "model": "Model 1", "setting": "low"}
    answer = client.post(f"{address}/finish", data=fields, files={"log": ("room.csv", log, "text/csv")})
    assert answer.status_code == 201, answer.text
    assert answer.json()["setting"]["name"] == "low"
    assert client.get(f"/api/trials/{answer.json()['id']}/log").content == log
    assert client.post(f"{address}/readings", json={"readings": lot_of(log)}).status_code == 409
