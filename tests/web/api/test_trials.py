"""Trials through the API: adding, reading, changing, readings and raw file."""

import json
import math
import sqlite3
from collections.abc import Callable
from contextlib import closing

import pytest
from fastapi.testclient import TestClient
from httpx import Response

from app.services.adding_trials import worked_log
from app.services.logs.readings import LogReadings
from app.services.results.analyse_channels import AnalysedTrial, AnalysisTerms
from app.settings import Settings
from tests.conftest import SmallBench, sqlite_only

MakeLog = Callable[..., bytes]
MEASURED = {"value", "uncertainty", "low_95", "high_95"}
MEASURED_FIELDS = (
    "total_decay_per_h",
    "natural_decay_per_h",
    "clean_air_delivery_rate_m3_per_h",
    "clean_air_delivery_rate_cfm",
    "air_changes_per_h",
    "standard_clearing_time_min",
)


def send(client: TestClient, content: bytes, file_name: str = "run.csv", **fields: object) -> Response:
    return client.post("/api/trials", files={"log": (file_name, content, "text/csv")}, data=fields)


def unit_running(bench: SmallBench, **changed: object) -> dict[str, object]:
    return {
        "unit_under_test_id": bench.unit_id,
        "setting_id": bench.high_setting_id,
        "room_id": bench.room_id,
        "logger_id": bench.logger_id,
        "smoke_source_id": bench.smoke_source_id,
        "tested_by": "script",
    } | changed


def test_a_trial_is_added_with_its_results(client: TestClient, small_bench: SmallBench, make_log: MakeLog):
    for seed in (1, 2):
        run = make_log(decay_rate_per_h=0.6, minutes=120, seed=seed)
        empty = send(client, run, kind="empty room", room="room a", smoke_source="incense")
        assert empty.status_code == 201, empty.text
    answer = send(client, make_log(seed=3), **unit_running(small_bench))
    assert answer.status_code == 201, answer.text
    trial = answer.json()
    channel = trial["channels"]["pm2_5"]
    for field in MEASURED_FIELDS:
        assert set(channel[field]) == MEASURED, field
        assert channel[field]["low_95"] <= channel[field]["value"] <= channel[field]["high_95"]
    assert channel["total_decay_per_h"]["value"] == pytest.approx(6.0, rel=0.05)
    assert channel["clean_air_delivery_rate_m3_per_h"]["value"] == pytest.approx(30.0 * 5.4, rel=0.05)
    flow = channel["clean_air_delivery_rate_m3_per_h"]["value"]
    # NIST SP 811: 1 ft = 0.3048 m exactly, so 1 m³/h = 1 / (0.3048³ · 60) ft³/min
    assert channel["clean_air_delivery_rate_cfm"]["value"] == pytest.approx(flow / (0.3048**3 * 60), rel=1e-9)
    assert channel["time_to_clear_min"]["reached"] is True
    assert channel["empty_room_trials"] == [1, 2]
    assert trial["log"]["started_at"] == "2026-03-02T09:00:00Z"
    assert client.get(f"/api/trials/{trial['id']}").json() == trial


@sqlite_only("one file has one writer")
def test_others_write_while_an_upload_is_analysed(
    client: TestClient,
    small_bench: SmallBench,
    make_log: MakeLog,
    settings: Settings,
    monkeypatch: pytest.MonkeyPatch,
    work_counted: dict[str, int],
):
    """A change meanwhile waits for nothing: SQLite is asked not to wait. The analysis is not made again after it."""
    analyse, changes = worked_log.analyse_readings, []

    def changed_meanwhile(readings: LogReadings, terms: AnalysisTerms) -> AnalysedTrial:
        with closing(sqlite3.connect(settings.data_folder / "bench.sqlite", timeout=0.0)) as other, other:
            changes.append(other.execute("UPDATE bench SET name = name || '+'").rowcount)
        return analyse(readings, terms)

    monkeypatch.setattr(worked_log, "analyse_readings", changed_meanwhile)
    assert send(client, make_log(seed=3), **unit_running(small_bench)).status_code == 201
    assert changes == [1]
    assert work_counted == {"reads": 1, "analyses": 3}


def test_an_empty_room_run_has_no_clean_air_and_says_so(client: TestClient, small_bench: SmallBench, make_log: MakeLog):
    trial = send(client, make_log(decay_rate_per_h=0.6), kind="empty room", room_id=small_bench.room_id).json()
    assert trial["unit_under_test"] is None
    channel = trial["channels"]["pm2_5"]
    assert channel["clean_air_delivery_rate_m3_per_h"] is None
    assert channel["air_changes_per_h"] is None
    note = next(note for note in channel["notes"] if note["code"] == "empty_room")
    assert "there is no clean air delivery rate" in note["message"]


def test_a_time_that_cannot_be_predicted_is_null_with_a_note(
    client: TestClient, small_bench: SmallBench, make_log: MakeLog
):
    told = {"clear_level_kind": "absolute", "clear_level_value": 1.0}
    channel = send(client, make_log(), **unit_running(small_bench, **told)).json()["channels"]["pm2_5"]
    assert channel["time_to_clear_min"]["predicted"] is None
    assert "no_predicted_time" in [note["code"] for note in channel["notes"]]
    usual = send(client, make_log(seed=2), **unit_running(small_bench)).json()["channels"]["pm2_5"]
    assert usual["time_to_clear_min"]["predicted"] is not None
    assert "no_predicted_time" not in [note["code"] for note in usual["notes"]]


def test_a_run_that_never_clears_is_a_lower_bound(client: TestClient, small_bench: SmallBench, make_log: MakeLog):
    slow = make_log(decay_rate_per_h=0.7, minutes=50)
    channel = send(client, slow, **unit_running(small_bench)).json()["channels"]["pm2_5"]
    assert channel["time_to_clear_min"]["reached"] is False
    assert channel["time_to_clear_min"]["value"] is None
    assert channel["time_to_clear_min"]["not_before"] == pytest.approx(50, abs=1)


def test_the_same_file_for_the_same_trial_answers_409(client: TestClient, small_bench: SmallBench, make_log: MakeLog):
    assert send(client, make_log(), **unit_running(small_bench)).status_code == 201
    again = send(client, make_log(), **unit_running(small_bench))
    assert again.status_code == 409
    assert again.headers["content-type"] == "application/problem+json"
    assert "is trial 1" in again.json()["detail"]
    other = send(client, make_log(), **unit_running(small_bench, setting_id=small_bench.low_setting_id))
    assert other.status_code == 201


def test_a_file_that_is_no_log_names_file_line_and_text(client: TestClient, small_bench: SmallBench):
    answer = send(client, b"time,PM2.5 (ug/m3)\nyesterday,much\ntoday,less\n", "bad.csv", **unit_running(small_bench))
    assert answer.status_code == 422
    document = answer.json()
    assert document["file_name"] == "bad.csv"
    assert document["line"] >= 1
    assert document["text"]
    assert "bad.csv" in document["detail"]
    assert client.get("/api/trials").json()["trials"] == []


@pytest.mark.parametrize(
    ("changed", "field", "message"),
    [
        ({"room_id": 99}, None, "There is no room 99 in this bench."),
        ({"room_id": "", "room": "attic"}, "room", "There is no room 'attic'"),
        ({"setting_id": "", "setting": "warp"}, "setting", "There is no setting 'warp' of that unit"),
        ({"setting_id": ""}, "setting_id", "needs a setting"),
        ({"kind": "party"}, "kind", "Needed: one of 'unit running' or 'empty room'"),
        ({"kind": "empty room"}, "unit_under_test_id", "An empty-room run has no unit or setting."),
        ({"unit_on_s": 99999}, "unit_on_s", "the log runs from 0 to 4500 s"),
        ({"unit_on_s": "soon"}, "unit_on_s", "Needed: a number such as 12.5."),
        ({"started_at": "2026-03-02T09:00:00"}, "started_at", "has no time zone"),
        ({"colour": "red"}, "colour", "Unknown field."),
        ({"columns": "PM2.5"}, "columns", "HEADER=CHANNEL is required"),
        ({"logger_id": "", "logger": "nobody's"}, "logger", "There is no logger"),
        ({"unit_under_test_id": "", "maker": "A", "model": "Z"}, "model", "There is no unit A Z on the bench."),
    ],
)
def test_what_does_not_fit_is_refused_by_its_field(
    client: TestClient,
    small_bench: SmallBench,
    make_log: MakeLog,
    changed: dict[str, object],
    field: str | None,
    message: str,
):
    answer = send(client, make_log(), **unit_running(small_bench, **changed))
    assert answer.status_code in (404, 422), answer.text
    assert message in answer.json()["detail"]
    if field is not None:
        assert field in [mistake["field"] for mistake in answer.json()["errors"]]
    assert client.get("/api/trials").json()["trials"] == []


def test_a_trial_without_a_file_is_refused(client: TestClient, small_bench: SmallBench):
    answer = client.post("/api/trials", data=unit_running(small_bench))
    assert answer.status_code == 422
    assert answer.json()["errors"][0]["field"] == "log"


def test_columns_and_zone_can_be_told(client: TestClient, small_bench: SmallBench, make_log: MakeLog):
    content = make_log(channels=("a", "b", "c")).replace(b"Z,", b",")
    told = {"columns": ["a=pm1", "b=pm2_5", "c="], "units": ["a=µg/m³", "b=µg/m³"], "timezone": "Europe/Berlin"}
    answer = send(client, content, **unit_running(small_bench, **told))
    assert answer.status_code == 201, answer.text
    assert answer.json()["log"]["channels"] == ["pm1", "pm2_5"]
    assert answer.json()["started_at"] == "2026-03-02T08:00:00Z"  # 09:00 in Berlin in winter


def test_marks_are_changed_and_the_results_follow(client: TestClient, small_bench: SmallBench, make_log: MakeLog):
    send(client, make_log(), **unit_running(small_bench))
    changed = client.patch(
        "/api/trials/1", json={"marks": {"unit_on_s": 1200}, "who": "script", "why": "from the plug"}
    )
    assert changed.status_code == 200, changed.text
    assert changed.json()["marks"]["unit_on_s"] == 1200.0
    assert changed.json()["channels"]["pm2_5"]["unit_on_s"] == 1200.0
    back = client.patch("/api/trials/1", json={"marks": {"unit_on_s": None}}).json()
    assert back["marks"]["unit_on_s"] is None


def test_facts_exclusion_and_trash_are_changed(client: TestClient, small_bench: SmallBench, make_log: MakeLog):
    send(client, make_log(), **unit_running(small_bench))
    changed = client.patch("/api/trials/1", json={"setting_id": small_bench.low_setting_id, "notes": "x"}).json()
    assert (changed["setting"]["name"], changed["notes"]) == ("low", "x")
    refused = client.patch("/api/trials/1", json={"excluded": True})
    assert refused.status_code == 422
    assert refused.json()["errors"][0]["field"] == "why"
    excluded = client.patch("/api/trials/1", json={"excluded": True, "why": "gap", "who": "s"}).json()["excluded"]
    assert (excluded["by"], excluded["why"]) == ("s", "gap")
    assert client.patch("/api/trials/1", json={"excluded": False}).json()["excluded"] is None
    refused = client.patch("/api/trials/1", json={"trashed": True})
    assert refused.status_code == 422
    assert "The reason for deleting the trial is empty" in refused.text
    assert client.patch("/api/trials/1", json={"trashed": True, "why": "x"}).json()["trashed_at"] is not None
    assert client.get("/api/trials").json()["trials"] == []
    assert client.get("/api/trials?state=trashed").json()["trials"][0]["id"] == 1
    assert client.patch("/api/trials/1", json={"trashed": False}).json()["trashed_at"] is None


@pytest.mark.parametrize(
    "body",
    [{"marks": {"unit_on_s": -1}}, {"marks": {"unit_off_s": 1}}, {"colour": 1}, {"room_id": None}, {"setting_id": 0}],
)
def test_a_wrong_change_is_refused(
    client: TestClient, small_bench: SmallBench, make_log: MakeLog, body: dict[str, object]
):
    send(client, make_log(), **unit_running(small_bench))
    before = client.get("/api/trials/1").json()
    assert client.patch("/api/trials/1", json=body).status_code == 422
    assert client.get("/api/trials/1").json() == before


def test_readings_are_thinned_without_losing_the_peak(client: TestClient, small_bench: SmallBench, make_log: MakeLog):
    content = make_log(interval_s=1.0)
    send(client, content, **unit_running(small_bench))
    whole = client.get("/api/trials/1/readings?max_points=100000").json()
    thinned = client.get("/api/trials/1/readings?channel=pm2_5&max_points=200").json()
    assert whole["readings"] == thinned["readings"] == len(whole["levels"]) == 4501
    assert len(thinned["levels"]) <= 200
    assert max(thinned["levels"]) == max(whole["levels"])
    assert min(thinned["levels"]) == min(whole["levels"])
    assert thinned["unit"] == "µg/m³"
    assert thinned["elapsed_s"] == sorted(thinned["elapsed_s"])


@pytest.mark.parametrize("query", ["channel=no2", "max_points=2", "max_points=1000000", "channel=%00"])
def test_readings_that_are_not_there_are_refused(
    client: TestClient, small_bench: SmallBench, make_log: MakeLog, query: str
):
    send(client, make_log(), **unit_running(small_bench))
    answer = client.get(f"/api/trials/1/readings?{query}")
    assert answer.status_code == 422
    assert answer.json()["errors"][0]["field"] in ("channel", "max_points")


def test_the_raw_file_comes_back_byte_for_byte_and_never_as_a_page(
    client: TestClient, small_bench: SmallBench, make_log: MakeLog
):
    content = b"\xef\xbb\xbf" + make_log().replace(b"\n", b"\r\n")
    send(client, content, 'röom "1"; <b>.html', **unit_running(small_bench))
    answer = client.get("/api/trials/1/log")
    assert answer.content == content
    assert answer.headers["content-type"] == "application/octet-stream"
    assert answer.headers["x-content-type-options"] == "nosniff"
    disposition = answer.headers["content-disposition"]
    assert disposition.startswith("attachment; ")
    assert disposition.count('"') == 2
    assert "r%C3%B6om" in disposition
    assert client.get("/api/trials/9/log").status_code == 404


def test_the_list_pages_from_the_newest(client: TestClient, small_bench: SmallBench, make_log: MakeLog):
    for seed in range(3):
        send(client, make_log(seed=seed, minutes=30, interval_s=30), **unit_running(small_bench))
    first = client.get("/api/trials?limit=2").json()
    assert [trial["id"] for trial in first["trials"]] == [3, 2]
    second = client.get("/api/trials", params={"limit": 2, "cursor": first["next_cursor"]}).json()
    assert [trial["id"] for trial in second["trials"]] == [1]
    assert second["next_cursor"] is None
    assert client.get("/api/trials?kind=empty+room").json()["trials"] == []
    assert client.get("/api/trials?state=lost").status_code == 422


def test_no_answer_holds_what_json_does_not_know(client: TestClient, small_bench: SmallBench):
    """A log that no decay can be fitted to gives null with notes, never NaN or Infinity."""
    rows = "\n".join(f"2026-03-02T09:{minute:02d}:00Z,7" for minute in range(40))
    answer = send(client, f"time,PM2.5 (ug/m3)\n{rows}\n".encode(), **unit_running(small_bench))
    assert answer.status_code == 201, answer.text

    def strict(value: str) -> float:
        raise AssertionError(f"the answer holds {value}")

    trial = json.loads(answer.text, parse_constant=strict)
    channel = trial["channels"]["pm2_5"]
    assert channel["total_decay_per_h"] is None
    assert channel["notes"]
    assert all(note["message"] for note in channel["notes"])
    assert all(math.isfinite(value) for value in channel.values() if isinstance(value, float))


def keyed(client: TestClient, key: str, content: bytes, **fields: object) -> Response:
    return client.post(
        "/api/trials",
        files={"log": ("run.csv", content, "text/csv")},
        data=fields,
        headers={"Idempotency-Key": key},
    )


def test_an_upload_repeated_with_its_key_answers_with_the_same_trial(
    client: TestClient, small_bench: SmallBench, make_log: MakeLog, work_counted: dict[str, int]
):
    log, about = make_log(), unit_running(small_bench)
    first = keyed(client, "night 1", log, **about)
    work = dict(work_counted)
    again = keyed(client, "night 1", log, **about)
    assert (first.status_code, again.status_code) == (201, 201)
    assert again.json() == first.json()
    assert work_counted == work  # neither read nor analysed again
    assert len(client.get("/api/trials").json()["trials"]) == 1
    # without the key the same file is what it was before: a second trial that nobody wants
    assert send(client, log, **about).status_code == 409


def test_a_key_that_came_with_something_else_is_refused_with_its_trial(
    client: TestClient, small_bench: SmallBench, make_log: MakeLog
):
    """draft-ietf-httpapi-idempotency-key-header, section 2.7: 422 where a key is used for another payload (from
    memory).
    """
    about = unit_running(small_bench)
    assert keyed(client, "night 1", make_log(), **about).status_code == 201
    for log, fields in ((make_log(seed=9), about), (make_log(), about | {"notes": "other"})):
        refused = keyed(client, "night 1", log, **fields)
        assert refused.status_code == 422
        assert refused.json()["type"].endswith("/upload-repeated")
        assert "Trial 1 was saved from this upload with another file or other fields" in refused.json()["detail"]
    assert keyed(client, "night 2", make_log(seed=9), **about).json()["id"] == 2


def test_a_refused_upload_uses_up_no_key(client: TestClient, small_bench: SmallBench, make_log: MakeLog):
    about = unit_running(small_bench)
    assert keyed(client, "night 1", b"no log", **about).status_code == 422
    assert keyed(client, "night 1", make_log(), **about).status_code == 201
