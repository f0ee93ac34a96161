"""The last button stores exactly what the preview shows, without computing it again."""

import re
from collections.abc import Callable
from html import unescape

import pytest
from fastapi.testclient import TestClient
from sqlalchemy import Engine

from app.services.adding_trials import preview
from app.services.adding_trials.preview import stored_results
from app.settings import Settings
from app.storage.engine import session_scope
from app.web.application import make_app
from tests.conftest import SmallBench
from tests.sample_data.local_access import local_browser
from tests.web.pages.adding_a_trial.trial_forms import conditions, empty_room, upload
from tests.web.pages.adding_a_trial.trial_forms import store as store_log

MakeLog = Callable[..., bytes]


def shown_by(page: str) -> str:
    return re.search(r'name="shown" value="([0-9a-f]{32})"', page)[1]


def decay_cells(page: str) -> list[str]:
    """The cells of the table of decays."""
    return re.findall(r"<td[^>]*>(.*?)</td>", page.split("Decay by channel</caption>")[1].split("</table>")[0])


def previewed(client: TestClient, address: str, bench: SmallBench, **changed: str) -> tuple[str, dict[str, str]]:
    """The preview page under the conditions, and the filled form that leads to storing what it shows."""
    fields = conditions(bench, **changed)
    page = client.get(address.split("?")[0], params=fields).text
    return page, fields | {"shown": shown_by(page)}


@pytest.mark.parametrize("zone", ["Z", ""], ids=["with a zone", "without a zone"])
def test_page_drawing_and_confirmation_read_and_analyse_once(
    client: TestClient,
    settings: Settings,
    small_bench: SmallBench,
    make_log: MakeLog,
    work_counted: dict[str, int],
    zone: str,
):
    content = make_log().replace(b"Z,", f"{zone},".encode())
    address = upload(client, content)
    page = client.get(address).text
    figure = unescape(re.search(r'data-figure-url="([^"]*)"', page)[1])
    assert client.get(figure).status_code == 200
    assumed = {} if zone else {"timezone": "UTC", "assumed_timezone": "UTC"}
    fields = conditions(small_bench) | assumed | {"shown": shown_by(page)}
    with local_browser(make_app(settings), settings, follow_redirects=False) as restarted:
        assert restarted.post(address.split("?")[0], data=fields).status_code == 303
    channels = len(client.get("/api/trials/1").json()["channels"])
    assert work_counted == {"reads": 1, "analyses": channels}


@pytest.mark.parametrize("send", ["api", "page without a preview"])
def test_a_log_sent_without_a_preview_is_read_and_analysed_once(
    client: TestClient, small_bench: SmallBench, make_log: MakeLog, work_counted: dict[str, int], send: str
):
    content = make_log().replace(b"Z,", b",")  # local times without a zone were read twice once
    if send == "api":
        fields = {"room": "Room A", "maker": "Maker A", "model": "Model 1", "setting": "high"}
        answer = client.post("/api/trials", data=fields, files={"log": ("run.csv", content, "text/csv")})
        assert answer.status_code == 201, answer.text
    else:
        assert store_log(client, content, conditions(small_bench)).status_code == 303
    assert work_counted == {"reads": 1, "analyses": len(client.get("/api/trials/1").json()["channels"])}


def test_a_run_in_the_empty_room_added_meanwhile_is_told_and_shown_first(
    client: TestClient, small_bench: SmallBench, make_log: MakeLog, store: Engine
):
    address = upload(client, make_log()).split("?")[0]
    page, fields = previewed(client, address, small_bench)
    assert decay_cells(page)[2] == "–"
    other = upload(client, make_log(0.6, minutes=180, seed=3)).split("?")[0]
    assert client.post(other, data=empty_room(small_bench)).status_code == 303
    refused = client.post(address, data=fields)
    assert refused.status_code == 422
    assert "PM2.5, clean air delivery rate: – to 16" in refused.text
    assert "so nothing was saved" in refused.text
    assert "16" in decay_cells(refused.text)[2]
    assert [trial["kind"] for trial in client.get("/api/trials").json()["trials"]] == ["empty room"]
    accepted = client.post(address, data=fields | {"shown": shown_by(refused.text)})
    assert accepted.headers["location"] == "/trials/2"
    with session_scope(store) as session:
        rate = stored_results(session, 2)["pm2_5"]["clean_air_delivery_rate_m3_per_h"]
    assert f"{rate:.6g}" in refused.text


@pytest.mark.parametrize(
    "changed",
    [{"unit_on": "20"}, {"kind": "empty room", "unit_under_test_id": "", "setting": ""}, {"column_1": "leave out"}],
    ids=["a mark", "the type", "a column"],
)
def test_a_choice_that_moves_a_result_is_shown_before_it_is_stored(
    client: TestClient, small_bench: SmallBench, make_log: MakeLog, changed: dict[str, str]
):
    address = upload(client, make_log()).split("?")[0]
    page, fields = previewed(client, address, small_bench, header_1="PM1 [µg/m³]")
    refused = client.post(address, data=fields | changed)
    assert refused.status_code == 422
    assert "The results have changed since the preview" in refused.text
    assert shown_by(refused.text) != shown_by(page)
    assert client.get("/api/trials").json()["trials"] == []
    assert client.post(address, data=fields | changed | {"shown": shown_by(refused.text)}).status_code == 303


@pytest.mark.parametrize(("factor", "status"), [(1 + 1e-7, 303), (1.001, 422)], ids=["processor", "result"])
def test_a_machine_with_another_processor_stores_what_a_first_one_showed(
    client: TestClient, small_bench: SmallBench, make_log: MakeLog, monkeypatch: pytest.MonkeyPatch, factor, status
):
    address = upload(client, make_log()).split("?")[0]
    _, fields = previewed(client, address, small_bench)

    def on_the_other(session, trial_id):
        found = stored_results(session, trial_id)
        for of_channel in found.values():
            of_channel["total_decay_per_h"] *= factor
        return found

    monkeypatch.setattr(preview, "stored_results", on_the_other)
    assert client.post(address, data=fields).status_code == status
    assert len(client.get("/api/trials").json()["trials"]) == (status == 303)


def test_a_choice_that_moves_no_result_is_stored_at_once(
    client: TestClient, small_bench: SmallBench, make_log: MakeLog
):
    address = upload(client, make_log()).split("?")[0]
    _, fields = previewed(client, address, small_bench)
    assert client.post(address, data=fields | {"notes": "door shut", "setting": "low"}).status_code == 303


def test_a_new_logger_and_a_new_room_are_stored_as_previewed(
    client: TestClient, small_bench: SmallBench, make_log: MakeLog
):
    new = {"logger_id": "new", "logger": "Pocket meter", "saturation_level_ug_m3": "250", "response_time_s": "30"}
    new |= {"room_id": "new", "room": "Cellar", "length_m": "4", "width_m": "3", "height_m": "2.5"}
    address = upload(client, make_log()).split("?")[0]
    _, fields = previewed(client, address, small_bench, **new)
    assert client.post(address, data=fields).status_code == 303


def test_a_log_without_a_clock_is_stored_as_previewed(client: TestClient, small_bench: SmallBench, make_log: MakeLog):
    rows = make_log().decode().splitlines()
    seconds = [f"{10 * number},{row.split(',', 1)[1]}" for number, row in enumerate(rows[1:])]
    content = "\n".join([rows[0].replace("time", "elapsed [s]", 1), *seconds]).encode()
    empty = upload(client, make_log(0.6, minutes=180, seed=3)).split("?")[0]
    assert client.post(empty, data=empty_room(small_bench)).status_code == 303
    address = upload(client, content).split("?")[0]
    _, fields = previewed(client, address, small_bench)
    assert client.post(address, data=fields).status_code == 303


def test_the_form_sent_twice_leads_to_one_trial(client: TestClient, small_bench: SmallBench, make_log: MakeLog):
    """As after a lost connection: the browser offers to send the form again."""
    address = upload(client, make_log()).split("?")[0]
    _, fields = previewed(client, address, small_bench)
    answers = [client.post(address, data=fields) for _ in range(2)]
    assert [(answer.status_code, answer.headers["location"]) for answer in answers] == [(303, "/trials/1")] * 2
    assert len(client.get("/api/trials").json()["trials"]) == 1
    refused = client.post(address, data=fields | {"notes": "typed after going back"})
    assert refused.status_code == 422
    assert "Trial 1 was saved from this upload" in refused.text


def test_a_form_whose_file_still_waits_is_not_stored_twice(
    client: TestClient, small_bench: SmallBench, make_log: MakeLog, monkeypatch: pytest.MonkeyPatch
):
    """The connection was lost at the commit, so that the file was not removed."""
    monkeypatch.setattr("app.web.pages.adding_a_trial.preview.discard_upload", lambda *_: None)
    address = upload(client, make_log()).split("?")[0]
    _, fields = previewed(client, address, small_bench)
    answers = [client.post(address, data=fields) for _ in range(2)]
    assert [answer.headers["location"] for answer in answers] == ["/trials/1"] * 2
