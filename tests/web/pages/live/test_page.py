"""The pages of live runs: start, buttons with undo, end, and the replay of the demonstration."""

import re
from datetime import UTC, datetime, timedelta
from html import unescape

import pytest
from fastapi.testclient import TestClient
from sqlalchemy import Engine, update

from app.compute.wording.numbers import level_text
from app.services.adding_trials.live_runs.replay import SPEED, replay, start_replay
from app.services.adding_trials.live_runs.run import CLOSED_AFTER
from app.services.adding_trials.live_runs.state import live_state
from app.storage.engine import session_scope
from app.storage.models.bench import Bench
from app.storage.models.live_runs import LiveRun
from tests.conftest import SmallBench
from tests.web.api.runs.test_routes import log_until_now, lot_of
from tests.web.page_checks import faults_of
from tests.web.tried_bench import TriedBench


def start(client: TestClient, bench: SmallBench, **fields: str) -> str:
    given = {"room_id": str(bench.room_id), "unit_under_test_id": str(bench.unit_id), "setting": "high"}
    answer = client.post("/live", data=given | fields, follow_redirects=False)
    assert answer.status_code == 303, answer.text
    return str(answer.headers["location"])


def words_of(html: str) -> str:
    return re.sub(r"\s+", " ", unescape(re.sub(r"<[^>]+>", " ", html)))


def test_a_run_is_started_marked_and_finished_on_the_page(client: TestClient, small_bench: SmallBench):
    address = start(client, small_bench)
    run_id = address.rpartition("/")[2]
    page = client.get(address)
    assert faults_of(page.text) == []
    assert "Waiting for readings." in words_of(page.text)
    lot = lot_of(log_until_now(30.0))
    client.post(f"/api/runs/{run_id}/readings", json={"readings": lot})
    now = datetime.now(UTC).isoformat()
    tapped = {"kind": "unit on", "sent_at": now, "tap": "one"}
    for _ in "ab":  # the second one is a double tap of the same page
        assert client.post(f"{address}/events", data=tapped, follow_redirects=False).status_code == 303
    page = client.get(address)
    assert words_of(page.text).count("Unit on at") == 2  # the line and the words of its button
    assert faults_of(page.text) == []
    undo = re.search(rf'action="({address}/events/\d+/undo)"', page.text)
    assert undo
    assert client.post(undo[1], follow_redirects=False).status_code == 303
    assert "Unit on at" not in words_of(client.get(address).text)
    ended = client.post(f"{address}/finish", data={"with": "readings"}, follow_redirects=False)
    assert ended.status_code == 303
    assert client.get(ended.headers["location"]).status_code == 200
    assert f"Open trial {ended.headers['location'].rpartition('/')[2]}" in words_of(client.get(address).text)


def test_the_page_works_without_a_script(client: TestClient, small_bench: SmallBench):
    """It reloads by itself, its buttons are plain forms, and the newest readings are in a table."""
    address = start(client, small_bench)
    lot = lot_of(log_until_now(5.0))
    client.post(f"/api/runs/{address.rpartition('/')[2]}/readings", json={"readings": lot})
    text = client.get(address).text
    assert '<noscript><meta http-equiv="refresh" content="10"></noscript>' in text
    newest = words_of(text.split("Newest readings", 1)[1])
    assert level_text(lot[-1]["pm2_5"], "µg/m³") in newest
    assert newest.count("µg/m³") == 10
    assert client.post(f"{address}/events", data={"kind": "smoke lit"}, follow_redirects=False).status_code == 303


@pytest.mark.parametrize("address", ["/live", "run"])
def test_the_cautions_are_on_the_page(client: TestClient, small_bench: SmallBench, address: str):
    text = words_of(client.get(start(client, small_bench) if address == "run" else address).text)
    for caution in (
        "Never leave it burning unattended",
        "Ventilate the room before anyone goes back in",
        "carbon monoxide",
        "Follow your local fire and building rules",
    ):
        assert caution in text


def test_what_is_wrong_with_a_start_is_said_beside_its_field(client: TestClient, small_bench: SmallBench):
    answer = client.post("/live", data={"unit_under_test_id": str(small_bench.unit_id), "setting": "turbo"})
    assert answer.status_code == 422
    words = words_of(answer.text)
    assert "No room selected. Choose one." in words
    assert "The unit has no setting 'turbo'." in words
    assert faults_of(answer.text) == []
    start(client, small_bench)
    given = {"room_id": str(small_bench.room_id)}
    assert "Room A already has live run 1" in words_of(client.post("/live", data=given).text)


def test_a_unit_that_is_missing_at_the_end_is_asked_for(client: TestClient, small_bench: SmallBench):
    address = start(client, small_bench, unit_under_test_id="", setting="")
    assert "unit not chosen yet" in words_of(client.get(address).text)
    client.post(f"/api/runs/{address.rpartition('/')[2]}/readings", json={"readings": lot_of(log_until_now(30.0))})
    answer = client.post(f"{address}/finish")
    assert answer.status_code == 422
    assert "A run with the unit running needs a unit. Choose one." in words_of(answer.text)
    given = {"unit_under_test_id": str(small_bench.unit_id), "setting": "low"}
    assert client.post(f"{address}/finish", data=given, follow_redirects=False).status_code == 303


def test_the_end_of_a_followed_file_waits_for_the_file(client: TestClient, small_bench: SmallBench):
    given = {"room_id": small_bench.room_id, "source": "file", "kind": "empty room"}
    run_id = client.post("/api/runs", json=given).json()["id"]
    lot = {"readings": lot_of(log_until_now(30.0))}
    assert not client.post(f"/api/runs/{run_id}/readings", json=lot).json()["file_requested"]
    answer = client.post(f"/live/{run_id}/finish", data={"with": "file"}, follow_redirects=False)
    assert answer.headers["location"] == f"/live/{run_id}"
    assert "Waiting for the watch command to send its file" in words_of(client.get(f"/live/{run_id}").text)
    assert client.post(f"/api/runs/{run_id}/readings", json=lot).json()["file_requested"]
    ended = client.post(f"/live/{run_id}/finish", data={"with": "readings"}, follow_redirects=False)
    assert ended.headers["location"].startswith("/trials/")


def test_a_closed_run_says_so_and_can_still_be_finished(client: TestClient, store: Engine, small_bench: SmallBench):
    address = start(client, small_bench)
    client.post(f"/api/runs/{address.rpartition('/')[2]}/readings", json={"readings": lot_of(log_until_now(30.0))})
    with session_scope(store) as session:
        session.execute(update(LiveRun).values(last_heard_at=datetime.now(UTC) - CLOSED_AFTER))
    text = words_of(client.get(address).text)
    assert "Closed after 2 h without a reading. The readings are stored" in text
    assert "Smoke lit" not in text
    assert client.post(f"{address}/events", data={"kind": "unit on"}).status_code == 422
    assert client.post(f"{address}/finish", follow_redirects=False).headers["location"].startswith("/trials/")


def test_only_an_invented_bench_replays_a_run(client: TestClient, store: Engine, tried_bench: TriedBench):
    assert "Replay an invented run" not in client.get("/live").text
    refused = client.post("/live/demonstration")
    assert refused.status_code == 422
    assert "Only the demonstration bench replays a run." in words_of(refused.text)
    with session_scope(store) as session:
        session.execute(update(Bench).values(invented=True))
    assert "Replay an invented run at 60 times its speed" in words_of(client.get("/live").text)
    begun = client.post("/live/demonstration", follow_redirects=False)
    page = client.get(begun.headers["location"])
    assert "Invented readings, replayed at 60 times their speed." in words_of(page.text)
    assert "Demonstration with invented data" in words_of(page.text)
    assert client.post(f"{begun.headers['location']}/replay", follow_redirects=False).status_code == 303


def test_a_replay_reaches_the_phases_of_its_trial(store: Engine, tried_bench: TriedBench):
    """The fastest trial is replayed: 10 min of background, 5 min of smoke, an hour of decay at 6 per hour."""
    begun = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
    with session_scope(store) as session:
        session.execute(update(Bench).values(invented=True))
        run_id = start_replay(session, begun)
        phases = []
        for seconds in range(1, 80, 2):
            at = begun + timedelta(seconds=seconds)
            goes_on = replay(session, run_id, at)
            state = live_state(session, run_id, at)
            phases.append(state.phase)
            assert not any(each.code in ("logger_silent", "logger_clock") for each in state.advice)
        assert not goes_on
        assert list(dict.fromkeys(phases)) == ["background", "decay"]
        assert phases.index("decay") * 2 * SPEED == pytest.approx(15 * 60, abs=2 * SPEED)
        rate = state.fit.decay.fit.decay_rate
        assert rate.value == pytest.approx(6.0, rel=0.05)
        assert (state.extent.readings, state.run.conflicts) == (451, 0)
