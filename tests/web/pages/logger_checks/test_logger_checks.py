"""Checks of loggers on the pages and through the API."""

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from fastapi.testclient import TestClient
from httpx import Response
from sqlalchemy import Engine

from app.services.bench.definitions import NewLogger
from app.services.bench.loggers import add_logger
from app.services.results.recompute import plan_recompute
from app.storage.engine import session_scope
from app.web.pages.logger_checks.page import due_words
from tests.conftest import NOW, SmallBench, decay_log
from tests.sample_data.logger_logs import logger_file

NAMES = ["Reference", "Logger B", "Logger C"]
DAY = NOW.date().isoformat()


@pytest.fixture
def loggers(store: Engine, small_bench: SmallBench) -> list[int]:
    with session_scope(store) as session:
        return [add_logger(session, NewLogger(name=name)) for name in NAMES]


def send(client: TestClient, files: list[bytes], names: list[str] | None = None, **fields: Any) -> Response:
    logs = [("logs", (f"{number}.csv", content, "text/csv")) for number, content in enumerate(files)]
    return client.post("/api/logger-checks", data={"loggers": names or NAMES[: len(files)]} | fields, files=logs)


THREE = [
    logger_file(1),
    logger_file(2, offset_s=20.0, gain=1.1, zero=2.0),
    logger_file(3, offset_s=-30.0, gain=0.9),
]


def test_three_loggers_give_two_checks_with_one_precision(client: TestClient, loggers: list[int]):
    answer = send(client, THREE, clean_from_min=0, clean_to_min=9, checked_by="Ann", notes="same shelf")
    assert answer.status_code == 201, answer.text
    two = answer.json()["logger_checks"]
    assert [each["logger_id"] for each in two] == loggers[1:]
    assert {each["reference_logger_id"] for each in two} == {loggers[0]}
    for each, gain, offset in zip(two, (1.1, 0.9), (20.0, -30.0), strict=True):
        assert each["slope"]["low_95"] < gain < each["slope"]["high_95"]
        assert each["clock_offset_s"] == pytest.approx(offset, abs=10)
        assert each["channel"] == "pm2_5"
        assert each["checked_on"] == DAY
        assert each["loggers_together"] == 3
        assert each["zero_level"]["value"] > 0
        assert each["detection_limit_low_95"] < each["detection_limit"] < each["detection_limit_high_95"]
    assert two[0]["precision_sd"] == two[1]["precision_sd"] > 0
    listed = client.get(f"/api/logger-checks?logger_id={loggers[1]}").json()["logger_checks"]
    assert listed == two[:1]
    assert client.get(f"/api/logger-checks/{two[1]['id']}").json()["logger_checks"] == two[1:]
    assert send(client, THREE).status_code == 409


def test_the_form_takes_two_files_and_shows_the_result(client: TestClient, loggers: list[int]):
    fields = {"logger_1": str(loggers[0]), "logger_2": str(loggers[1]), "kind": "collocation", "checked_by": "Ann"}
    files = {"file_1": ("a.csv", THREE[0]), "file_2": ("b.csv", THREE[1])}
    answer = client.post("/logger-checks/add", data=fields, files=files)
    assert (answer.status_code, answer.headers["location"]) == (303, "/logger-checks/1")
    check = client.get("/api/logger-checks/1").json()["logger_checks"][0]
    page = client.get("/logger-checks/1").text
    assert "Collocation check of Logger B beside Reference" in page
    assert f"Slope {check['slope']['value']:.3f}"[:10] in page
    assert "US EPA, EPA/600/R-20/280, 2021" in page
    assert "from memory" in page
    for name in ("logger-scatter", "logger-difference"):
        figure = client.get(f"/figures/{name}.json?check=1")
        assert figure.status_code == 200
        assert len(client.get(f"/charts/{name}.csv?check=1").text.splitlines()) > check["means"]
    table = client.get(f"/charts/logger-record.csv?logger={loggers[1]}&quantity=intercept").text
    assert f"{check['intercept']['value']:.6}" in table
    record = client.get(f"/loggers/{loggers[1]}").text
    assert "Logger B: slope" in record
    assert 'href="/logger-checks/1"' in record
    assert "collocation on" in record  # the history
    stored = client.get("/logger-checks/add").text
    assert "Or a stored log" in stored
    assert "a.csv" in stored


def test_logs_that_are_stored_already_are_compared_without_a_file(client: TestClient, loggers: list[int]):
    send(client, THREE[:2])
    fields = {"logger_1": str(loggers[0]), "log_1": "1", "logger_2": str(loggers[2]), "log_2": "2"}
    answer = client.post("/logger-checks/add", data=fields)
    assert answer.headers["location"] == "/logger-checks/2"
    two = client.get("/api/logger-checks").json()["logger_checks"]
    assert two[0]["slope"] == two[1]["slope"]
    by_id = client.post("/api/logger-checks", data={"loggers": ["Logger C", "Reference"], "log_ids": ["1", "2"]})
    assert by_id.status_code == 201


def test_a_check_is_deleted_with_a_reason_and_its_logs_stay(client: TestClient, loggers: list[int]):
    send(client, THREE[:2])
    assert client.post("/logger-checks/1/take-back", data={"why": ""}).status_code == 422
    assert client.post("/logger-checks/1/take-back", data={"why": "wrong room"}).status_code == 303
    assert client.get("/api/logger-checks").json()["logger_checks"] == []
    assert "wrong room" in client.get(f"/loggers/{loggers[1]}").text
    assert send(client, THREE[:2]).status_code == 201


def test_zero_and_warm_up_checks(client: TestClient, loggers: list[int]):
    zero = send(client, [THREE[1]], ["Logger B"], kind="zero", clean_from_min=0, clean_to_min=9.5)
    assert zero.status_code == 201
    assert zero.json()["logger_checks"][0]["zero_level"]["value"] == pytest.approx(2 + 1.1 * 5, abs=0.3)
    assert "In clean air Logger B reads" in client.get("/logger-checks/1").text
    assert client.get("/charts/logger-scatter.csv?check=1").status_code == 422
    warm = send(client, THREE[:2], kind="warm-up").json()["logger_checks"][0]
    assert warm["settled_after_min"] >= 0
    assert "settled after" in client.get(f"/logger-checks/{warm['id']}").text


@pytest.mark.parametrize(
    ("other", "words"),
    [
        (logger_file(1), "copies of one log"),
        (logger_file(2, level=7.0), "is constant at 7"),
        (logger_file(2, days=3), "share 0 min of their clocks"),
        (logger_file(2, channel="PM10 [µg/m³]"), "share no particle channel"),
        (logger_file(2, offset_s=36_000.0, first_s=36_000.0), "10.00 h"),
        (b"\x89PNG not a log", ""),
        (b"", ""),
        (b"hello,world\n1,2\n", ""),
    ],
    ids=["identical", "constant", "another day", "another channel", "ten hours", "picture", "empty", "no log"],
)
def test_what_cannot_be_compared_is_refused_and_nothing_is_stored(
    client: TestClient, loggers: list[int], other: bytes, words: str
):
    answer = send(client, [THREE[0], other])
    assert answer.status_code == 422
    assert words in answer.json()["detail"]
    assert client.get("/api/logger-checks").json()["logger_checks"] == []
    fields = {"logger_1": str(loggers[0]), "logger_2": str(loggers[1])}
    page = client.post("/logger-checks/add", data=fields, files={"file_1": ("a", THREE[0]), "file_2": ("b", other)})
    assert page.status_code == 422
    assert "Nothing was saved" in page.text
    assert THREE[0] != other or "copies of one log" in page.text
    # the log of the reference is not left behind either
    assert "Or a stored log" not in client.get("/logger-checks/add").text


@pytest.mark.parametrize(
    ("names", "files", "fields", "words"),
    [
        (["Reference"], THREE[:1], {}, "this type needs 2 to 6, the first from the reference logger"),
        (["Reference", "Reference"], THREE[:2], {}, "Two logs name the same logger"),
        (["Reference", "Nobody"], THREE[:2], {}, "There is no logger"),
        (["Reference", "Logger B"], THREE[:1], {}, "2 loggers, 1 files"),
        (NAMES[:2], THREE[:2], {"channel": "pm1"}, "has no channel"),
        (NAMES[:2], THREE[:2], {"clean_from_min": 9, "clean_to_min": 3}, "Enter an end after the start"),
        (NAMES[:2], THREE[:2], {"clean_from_min": 900}, "has 0 readings; the limit of detection needs 20"),
        (NAMES[:2], THREE[:2], {"checked_on": "2999-01-01"}, "2999"),
    ],
)
def test_a_request_that_does_not_fit_is_refused(
    client: TestClient, loggers: list[int], names: list[str], files: list[bytes], fields: dict[str, Any], words: str
):
    answer = send(client, files, names, **fields)
    assert answer.status_code == 422
    assert words in answer.text


def test_a_trial_past_the_check_date_carries_a_note(client: TestClient, loggers: list[int], small_bench: SmallBench):
    send(client, THREE[:2])
    client.post(f"/loggers/{loggers[1]}/edit", data={"logger": "Logger B", "check_interval_days": "30"})
    ids = {"unit_under_test_id": small_bench.unit_id, "setting_id": small_bench.high_setting_id}
    fields = ids | {"room_id": small_bench.room_id, "logger_id": loggers[1]}
    found = []
    for days in (30, 31):
        log = decay_log(6.0, minutes=30, seed=days, started_at=NOW.replace(hour=1) + timedelta(days=days))
        trial = client.post("/api/trials", data=fields, files={"log": (f"{days}.csv", log)}).json()
        found.append(trial["logger_overdue"])
    assert found[0] == ""
    assert "was due for a check on" in found[1]
    assert "1 day before this trial" in found[1]
    page = client.get("/trials/2").text
    assert found[1] in page
    assert f"The check on {DAY} cannot tell its curvature from zero." in page
    unchecked = fields | {"logger_id": loggers[2]}
    client.post(f"/loggers/{loggers[2]}/edit", data={"logger": "Logger C", "check_interval_days": "30"})
    log = decay_log(6.0, minutes=30, seed=5)
    trial = client.post("/api/trials", data=unchecked, files={"log": ("c.csv", log)}).json()
    assert "had no check before this trial" in trial["logger_overdue"]


def test_the_record_says_when_the_next_check_is_due():
    due = datetime(2026, 3, 1, tzinfo=UTC).date()
    assert due_words(due, 90, True, due) == "The next check is due on 2026-03-01."
    assert "1 day ago" in due_words(due, 90, True, due + timedelta(days=1))
    assert "never checked so far" in due_words(None, 90, False, due)
    assert "No time between checks is set" in due_words(None, None, True, due)


def test_a_curvature_that_a_check_shows_widens_the_stored_intervals_of_its_logger(
    store: Engine, client: TestClient, loggers: list[int], small_bench: SmallBench
):
    """The trial is analysed again when the check is added, and as before once it is deleted."""
    told = {"unit_under_test_id": small_bench.unit_id, "setting_id": small_bench.high_setting_id, "room_id": 1}
    upload = {"log": ("log.csv", decay_log(6.0, minutes=60), "text/csv")}
    trial = client.post("/api/trials", data=told | {"logger_id": loggers[1]}, files=upload).json()
    before = trial["channels"]["pm2_5"]
    assert send(client, [logger_file(1), logger_file(2, curvature=1e-3)]).status_code == 201
    after = client.get(f"/api/trials/{trial['id']}").json()["channels"]["pm2_5"]
    rates = before["total_decay_per_h"], after["total_decay_per_h"]
    assert rates[0]["value"] == rates[1]["value"]
    assert rates[1]["uncertainty"] > rates[0]["uncertainty"]
    shares = [
        next(line["relative_uncertainty"] for line in each["systematic"] if line["source"] == "linearity")
        for each in (before, after)
    ]
    assert rates[1]["uncertainty"] ** 2 - rates[0]["uncertainty"] ** 2 == pytest.approx(
        rates[0]["value"] ** 2 * (shares[1] ** 2 - shares[0] ** 2)
    )
    page = client.get(f"/trials/{trial['id']}").text
    assert f"shows a curvature: the interval has {100 * shares[1]:.2g} % for it, not the 0.1 % for linearity." in page
    assert plan_recompute(store, workers=1).differences == ()
    assert client.post("/logger-checks/1/take-back", data={"why": "wrong logger"}).status_code in (200, 303)
    assert client.get(f"/api/trials/{trial['id']}").json()["channels"]["pm2_5"] == before
