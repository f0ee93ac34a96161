"""The plan page: answer, table, chart, hostile questions, and the campaign that it stores."""

import re
from dataclasses import replace
from datetime import timedelta
from html import unescape
from typing import Any

import pytest
from fastapi.testclient import TestClient
from sqlalchemy import Engine

from app.compute.planning.answer import Answer, Known, NextRun, Step
from app.compute.planning.wording import percent
from app.services.bench.definitions import NewRoom
from app.services.bench.rooms import add_room
from app.storage.engine import session_scope
from app.web.pages.plans import page as page_of_plan
from tests.conftest import NOW, decay_log
from tests.web.page_checks import faults_of
from tests.web.tried_bench import TriedBench

RATE = "goal=rate&unit_id=1&within_pct=4&starts_on=2026-03-09&seed=7"
API_RATE = "goal=rate&setting_id=2&within_pct=4&starts_on=2026-03-09&seed=7"
DIFFERENCE = "goal=difference&unit_id=1&other_unit_id=2&starts_on=2026-03-09"


def words_of(html: str) -> str:
    return re.sub(r"\s+", " ", unescape(re.sub(r"<[^>]+>", " ", html)).replace("\u00a0", " "))


def asked(client: TestClient, query: str) -> dict[str, Any]:
    answer = client.get(f"/api/plan?{query}")
    assert answer.status_code == 200, answer.text
    return dict(answer.json())


@pytest.mark.usefixtures("tried_bench")
def test_every_question_is_a_well_made_page(client: TestClient, subtests: pytest.Subtests):
    for query in ("", RATE, DIFFERENCE, "goal=rate&unit_id=3", "goal=difference&unit_id=1&seed=x"):
        with subtests.test(query=query):
            answer = client.get(f"/plan?{query}")
            assert answer.status_code in (200, 422)
            assert faults_of(answer.text) == []


def test_an_empty_bench_says_what_to_do_first(client: TestClient):
    answer = client.get("/plan")
    assert answer.status_code == 200
    assert "There is no trial to plan from yet." in answer.text
    assert "/trials/add" in answer.text


def test_page_api_and_chart_have_one_answer(tried_bench: TriedBench, client: TestClient):
    page, api = client.get(f"/plan?{RATE}"), asked(client, API_RATE)
    assert page.status_code == 200
    text = words_of(page.text)
    assert api["status"] == "runs"
    assert api["sentence"] in text
    for sentence in api["assumptions"]:
        assert sentence in text
    first, last = api["steps"][0], api["steps"][-1]
    chart = client.get(f"/figures/planned-runs.json?{RATE}").json()["meta"]
    for step in (first, last):
        assert f"±{percent(step['assured'])}\u00a0%" in chart["alt_text"]
    rows = client.get(f"/charts/planned-runs.csv?{RATE}").text.splitlines()
    assert len(rows) == 1 + 2 * len(api["steps"])
    assert client.get(f"/charts/planned-runs.svg?{RATE}").status_code == 200


@pytest.mark.usefixtures("tried_bench")
def test_a_settled_order_is_a_sentence_and_no_table(client: TestClient, monkeypatch: pytest.MonkeyPatch):
    view_of = page_of_plan.plan_view
    for status, has_table in (("runs", True), ("known", False)):

        def of_status(snapshot: Any, choices: Any, status: Any = status) -> Any:
            view = view_of(snapshot, choices)
            steps, runs = (Step(0, 0, 0.4), Step(1, 2, 0.1)), (NextRun(1, "A at “high”", 0.1),)
            return replace(view, answer=replace(view.answer, status=status, now=0.4, steps=steps, next_runs=runs))

        monkeypatch.setattr(page_of_plan, "plan_view", of_status)
        text = words_of(client.get("/plan?goal=order").text)
        assert ("What further runs give" in text) == has_table
        assert ("The order is settled and needs no further run" in text) != has_table


def test_runs_that_change_nothing_that_is_seen_are_counted():
    known = Known(
        room="r", channel="pm2_5", between_trials=0.02, degrees_of_freedom=9, source="repeats", mostly_assumed=False
    )
    runs = (NextRun(1, "A at “high”", 0.4362), NextRun(2, "B at “low”", 0.44), NextRun(None, "Empty room", 0.44))
    answer = Answer(goal="order", status="runs", known=known, now=0.44, next_runs=runs)
    assert page_of_plan._next_runs(answer) == (
        [("A at “high”", "0.436")],
        "One run of 2 other candidates would leave it at 0.440.",
    )
    assert page_of_plan._next_runs(None) == ([], "")


def test_the_present_half_width_is_that_of_the_stored_rate(tried_bench: TriedBench, client: TestClient):
    line = next(one for one in client.get("/api/ranking").json()["ranking"] if one["unit_id"] == 1)
    rate = line["clean_air_delivery_rate_m3_per_h"]
    half = (rate["high_95"] - rate["low_95"]) / 2 / rate["value"]
    assert asked(client, API_RATE)["now"] == pytest.approx(half, rel=0.02)


def test_more_precision_asks_for_more_runs(tried_bench: TriedBench, client: TestClient):
    runs = [
        sum(one["more"] for one in asked(client, f"goal=rate&setting_id=2&within_pct={goal}")["runs"])
        for goal in (20, 6, 4)
    ]
    assert runs[0] == 0 < runs[1] < runs[2]


def test_an_untested_unit_is_told_what_to_run_first(tried_bench: TriedBench, client: TestClient, store: Engine):
    text = words_of(client.get("/plan?goal=rate&unit_id=3").text)
    assert "Maker Q Untried has no speed setting yet" in text
    low = asked(client, "goal=rate&setting_id=1")
    assert low["status"] == "first runs"
    assert "“low” has no usable trial" in low["sentence"]
    assert [run["kind"] for run in low["campaign"]] == ["empty room", "unit running", "empty room"]


def test_a_unit_that_does_nothing_is_refused_or_out_of_reach(tried_bench: TriedBench, client: TestClient):
    """Its rate lies near zero on either side."""
    answer = client.get("/api/plan?goal=rate&setting_id=3&within_pct=5")
    if answer.status_code == 200:
        assert answer.json()["status"] == "not by runs"
    else:
        assert "not faster than the natural decay" in answer.json()["detail"]


def test_every_mistake_is_named_at_once_and_nothing_typed_is_lost(tried_bench: TriedBench, client: TestClient):
    wrong = "goal=difference&unit_id=1&within_pct=abc&power_pct=500&trials=-3&seed=x&starts_on=never&runs_a_day=99"
    answer = client.get(f"/plan?{wrong}")
    assert answer.status_code == 422
    text = words_of(answer.text)
    for message in (
        "The half-width: found 'abc'; enter a number such as 12.5.",
        "The power is 500 %; enter a number from 50 to 99 %.",
        "The number of trials is -3; enter a whole number above zero.",
        "The seed: found 'x'; enter a whole number.",
        "First day: found 'never'; enter a date such as 2026-03-31.",
        "The number of runs a day is 99; enter at most 12.",
        "No second unit selected. Choose the unit to compare with.",
    ):
        assert message in text
    assert 'value="abc"' in answer.text


WRONG = (
    ("goal=rate", "No unit selected. Choose the unit whose rate is to be known."),
    ("goal=rate&setting_id=999", "There is no setting 999 in this bench."),
    ("goal=rate&unit_id=999", "There is no unit under test 999 in this bench."),
    ("goal=rate&unit_id=1&setting=turbo", "Maker A Model 1 has no setting 'turbo'; its settings are: low, high."),
    ("goal=difference&unit_id=1&other_unit_id=1", "Both units are the same setting of one unit."),
    ("goal=magic", "The question is 'magic'; choose one of: order, rate, difference."),
    ("goal=rate&unit_id=1&starts_on=0001-01-01", "The first day is 0001-01-01; enter a year from 1990 to 2100."),
    ("room_id=77", "There is no test room 77 with results"),
    ("channel=pm99", "The channel is 'pm99'; choose one of: pm2_5"),
)


@pytest.mark.usefixtures("tried_bench")
def test_a_wrong_question_is_answered_with_what_is_right(client: TestClient, subtests: pytest.Subtests):
    for query, message in WRONG:
        with subtests.test(query=query):
            answer = client.get(f"/plan?{query}")
            assert answer.status_code == 422
            assert message in words_of(answer.text)


def test_a_campaign_is_stored_and_printed_in_the_order_that_was_shown(tried_bench: TriedBench, client: TestClient):
    shown = asked(client, API_RATE)["campaign"]
    answer = client.post("/plan", data=dict(pair.split("=") for pair in RATE.split("&")) | {"name": "Spring round"})
    assert answer.status_code == 303, words_of(answer.text)
    address = answer.headers["location"]
    stored = client.get(f"/api{address}").json()
    assert [(line["day"], line["setting_id"], line["minutes"]) for line in stored["lines"]] == [
        (run["day"], run["setting_id"], run["minutes"]) for run in shown
    ]
    text = words_of(client.get(address).text)
    assert "drawn with seed 7" in text
    for caution in ("carbon monoxide", "qualified electrician", "hearing protection", "ozone"):
        assert caution in text
    assert faults_of(client.get(address).text) == []
    assert "Spring round" in client.get("/plans").text
    again = client.post("/plan", data=dict(pair.split("=") for pair in RATE.split("&")) | {"name": "spring ROUND"})
    assert again.status_code == 422
    assert "A campaign 'spring ROUND' already exists." in words_of(again.text)


def test_a_campaign_needs_a_name_and_runs(tried_bench: TriedBench, client: TestClient):
    answer = client.post("/plan", data={"goal": "rate", "unit_id": "1", "within_pct": "4"})
    assert answer.status_code == 422
    assert "The name of the campaign is empty." in words_of(answer.text)
    answer = client.post("/plan", data={"goal": "rate", "unit_id": "1", "within_pct": "90", "name": "None"})
    assert answer.status_code == 422
    assert "The answer has no runs to plan." in words_of(answer.text)


def test_lines_are_ticked_off_by_usable_trials_and_lead_to_the_upload(
    tried_bench: TriedBench, client: TestClient, store: Engine
):
    with session_scope(store) as session:
        other_room = add_room(session, NewRoom(name="Room B", room_volume_m3=20.0))
    question = {"name": "Round", "goal": "rate", "setting_id": 2, "within_pct": 4, "starts_on": "2026-03-09"}
    made = client.post("/api/plans", json=question)
    assert made.status_code == 201, made.text
    plan = made.json()
    assert plan["done"] == 0
    address = f"/plans/{plan['id']}"

    def add(seed: int, **fields: object) -> int:
        log = decay_log(6.0, seed=seed, started_at=NOW + timedelta(days=8))
        told = {"kind": "unit running", "room_id": 1, "unit_under_test_id": 1, "setting_id": 2} | fields
        answer = client.post("/api/trials", files={"log": ("run.csv", log, "text/csv")}, data=told)
        assert answer.status_code == 201, answer.text
        return int(answer.json()["id"])

    before = client.get(address).text
    assert "unit_under_test_id=1&amp;setting=high" in before
    add(21, room_id=other_room)  # another room
    assert client.get(f"/api{address}").json()["done"] == 0
    trial_id = add(22)
    stored = client.get(f"/api{address}").json()
    ticked = next(line for line in stored["lines"] if line["trial_id"] is not None)
    assert (stored["done"], ticked["trial_id"], ticked["kind"]) == (1, trial_id, "unit running")
    assert ticked == next(line | {} for line in stored["lines"] if line["setting_id"] == 2)
    assert f"1 of {len(stored['lines'])} runs done" in words_of(client.get(address).text)
    unit_page = words_of(client.get("/units/1").text)
    planned = sum(line["setting_id"] == 2 for line in stored["lines"])
    assert f"1 of {planned} planned runs at “high” done" in unit_page
    client.post(f"/trials/{trial_id}/exclude", data={"why": "door open", "who": "Ada"})
    assert client.get(f"/api{address}").json()["not_counted"] == [trial_id]
    assert f"Trial {trial_id} is unusable or excluded, so the run has to be repeated." in words_of(
        client.get(address).text
    )


def test_the_upload_has_the_fields_of_the_run_filled_in(tried_bench: TriedBench, client: TestClient):
    page = client.get("/trials/add?kind=unit+running&unit_under_test_id=1&setting=low&room_id=1").text
    assert "a run of Maker A Model 1 at “low”" in unescape(page)
    fields = {"kind": "unit running", "unit_under_test_id": "1", "setting": "low", "room_id": "1"}
    for name, value in fields.items():
        assert f'name="{name}" value="{value}"' in page
    sent = client.post("/trials/add", files={"log": ("run.csv", decay_log(6.0), "text/csv")}, data=fields)
    preview = client.get(sent.headers["location"]).text
    assert 'id="setting" name="setting" type="text" value="low"' in preview


def test_a_campaign_is_removed_with_a_reason_and_its_runs_are_recorded(tried_bench: TriedBench, client: TestClient):
    plan = client.post("/api/plans", json={"name": "Round", "goal": "rate", "setting_id": 2, "within_pct": 4}).json()
    refused = client.post(f"/plans/{plan['id']}/delete", data={"who": "Ada"})
    assert refused.status_code == 422
    assert "The reason for removal is empty." in words_of(refused.text)
    assert client.post(f"/plans/{plan['id']}/delete", data={"who": "Ada", "why": "over"}).status_code == 303
    assert client.get(f"/api/plans/{plan['id']}").status_code == 404
    assert "settings by day" in client.get("/changes").text
    assert client.get("/api/plans").json()["plans"] == []
