"""The trash page and its API: contents, who deleted what and why, and restoring."""

from fastapi.testclient import TestClient
from sqlalchemy import Engine

from app.storage.engine import session_scope
from tests.sample_data.accounts import PASSWORD, make_account
from tests.web.page_checks import faults_of
from tests.web.tried_bench import TriedBench


def test_an_empty_trash_says_so(client: TestClient):
    page = client.get("/trash").text
    assert "The trash is empty." in page
    assert faults_of(page) == []
    assert client.get("/api/trash").json()["trash"] == []


def test_a_trial_is_listed_and_taken_back(client: TestClient, tried_bench: TriedBench):
    before = client.get("/api/ranking").json()
    log = client.get("/api/trials/4/log").content
    told = {"trash_why": "the <b>door</b> was open", "who": "Ada"}
    answer = client.post("/trials/4/trash", data=told)
    assert (answer.status_code, answer.headers["location"]) == (303, "/trials/4")
    assert client.get("/api/ranking").json() != before
    page = client.get("/trash").text
    assert faults_of(page) == []
    assert "Trial 4 of 2026-03-02: Maker A Model 1, high" in page
    assert "<td>Ada</td>" in page
    assert "the &lt;b&gt;door&lt;/b&gt; was open" in page
    assert 'action="/trials/4/untrash"' in page
    assert client.get("/api/trials/4/log").content == log
    (thing,) = client.get("/api/trash").json()["trash"]
    assert (thing["subject"], thing["id"], thing["who"], thing["why"]) == ("trial", 4, "Ada", told["trash_why"])
    assert client.post("/trials/4/untrash").status_code == 303
    assert client.get("/api/ranking").json() == before
    assert client.get("/api/trash").json()["total"] == 0


def test_a_unit_is_put_there_by_page_and_by_script(client: TestClient, tried_bench: TriedBench):
    refused = client.post("/units/1/trash", data={"trash_why": ""})
    assert refused.status_code == 422
    assert "The reason for deleting the unit is empty" in refused.text
    assert faults_of(refused.text) == []
    assert client.post("/units/1/trash", data={"trash_why": "given back", "who": "Ada"}).status_code == 303
    assert "Maker A Model 1" in client.get("/trash").text
    assert "Ada moved this unit to the trash on" in client.get("/units/1/edit").text
    assert 'href="/trash"' in client.get("/units/1").text
    assert [unit["id"] for unit in client.get("/api/units").json()["units"]] == [2, 3]
    assert [unit["id"] for unit in client.get("/api/units?trashed=true").json()["units"]] == [1]
    assert "excluded: unit in the trash" in client.get("/trials").text
    assert client.patch("/api/units/1", json={"trashed": False}).json()["trashed_at"] is None
    needed = client.patch("/api/units/1", json={"trashed": True})
    assert needed.json()["errors"][0]["field"] == "why"
    gone = client.patch("/api/units/1", json={"trashed": True, "why": "sold"}).json()
    assert gone["trashed_at"] is not None


def test_a_long_trash_is_shown_in_parts(client: TestClient, tried_bench: TriedBench):
    for trial in (3, 4, 5):
        client.post(
            f"/trials/{trial}/trash", data={"trash_why": "Internal error. This request saved nothing. See the server"}
        )
    part = client.get("/api/trash?limit=1&offset=1").json()
    assert ([thing["id"] for thing in part["trash"]], part["total"]) == ([4], 3)
    assert "None further" not in client.get("/trash?offset=2").text
    assert client.get("/trash?offset=2").text.count("/untrash") == 1
    assert client.get("/trash?offset=-9999999999999").text.count("/untrash") == 3


def test_who_may_only_view_sees_the_trash_and_no_way_back(client: TestClient, tried_bench: TriedBench, store: Engine):
    client.post("/trials/4/trash", data={"trash_why": "Internal error. This request saved nothing. See the server"})
    with session_scope(store) as session:
        make_account(session, "Vera", "view")
    assert client.post("/sign-in", data={"name": "Vera", "password": PASSWORD}).status_code == 303
    page = client.get("/trash").text
    assert "Restoring needs the role “edit”." in page
    assert "untrash" not in page
    assert client.post("/trials/4/untrash").status_code == 403
