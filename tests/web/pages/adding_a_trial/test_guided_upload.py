"""Several files at once, files that are stored already, and logs that are no trial."""

import re
from datetime import timedelta

import httpx
import pytest
from fastapi.testclient import TestClient
from sqlalchemy import Engine

from app.storage.engine import session_scope
from app.storage.models.logs import Log
from app.storage.models.trials import Trial
from tests.conftest import NOW, SmallBench
from tests.web.pages.adding_a_trial.trial_forms import conditions, upload
from tests.web.pages.adding_a_trial.trial_forms import store as send

POWER = "\n".join(["time,power [W]", *(f"2026-03-02T10:{i:02d}:00Z,{40 + i % 2}" for i in range(60))]).encode()
# half the time at 50 dB, half at 60 dB: 10 lg((10^5 + 10^6) / 2) = 57.4 dB
SOUND = "\n".join(["time,Sound level [dB(A)]", *(f"2026-03-02T10:{i:02d}:00Z,{50 + 10 * (i % 2)}" for i in range(60))])


def send_many(client: TestClient, *contents: bytes) -> str:
    files = [("log", (f"run {number}.csv", content, "text/csv")) for number, content in enumerate(contents, start=1)]
    answer = client.post("/trials/add", files=files)
    assert answer.status_code == 303
    return answer.headers["location"]


def tokens_of(address: str) -> list[str]:
    return re.findall(r"token=([A-Za-z0-9_-]{32})", address)


def fields_of(tokens: list[str], bench: SmallBench, **more: str) -> dict[str, object]:
    fields = {"sent": "1", "token": tokens, "room_id": str(bench.room_id)} | more
    for token in tokens:
        fields |= {f"keep_{token}": "1", f"kind_{token}": "unit running", f"setting_{token}": "high"}
        fields[f"unit_under_test_id_{token}"] = str(bench.unit_id)
    return fields


def test_one_table_stores_several_files(client: TestClient, store: Engine, small_bench: SmallBench, make_log):
    address = send_many(client, make_log(), make_log(seed=2))
    page = client.get(address).text
    assert page.count('name="token"') == 2
    assert re.search(r"PM2.5: usable( after a check)?\. Total decay [\d.]+ per hour", page)
    tokens = tokens_of(address)
    fields = fields_of(tokens, small_bench) | {f"kind_{tokens[1]}": "empty room"}
    answer = client.post("/trials/add/batch", data=fields)
    assert (answer.status_code, answer.headers.get("location")) == (303, "/trials")
    with session_scope(store) as session:
        assert [(trial.kind, trial.unit_under_test_id) for trial in session.query(Trial).order_by(Trial.id)] == [
            ("unit running", small_bench.unit_id),
            ("empty room", None),
        ]
    assert "were saved, discarded or have expired" in client.get(address).text


def test_what_cannot_be_stored_stays_with_its_reason(client: TestClient, small_bench: SmallBench, make_log):
    tokens = tokens_of(send_many(client, make_log(), make_log(seed=2)))
    fields = fields_of(tokens, small_bench) | {f"setting_{tokens[1]}": "unheard of"}
    answer = client.post("/trials/add/batch", data=fields)
    assert answer.status_code == 422
    assert "1 saved; these could not be saved." in answer.text
    assert "The unit has no setting &#39;unheard of&#39;" in answer.text
    assert tokens[0] not in answer.text
    assert len(client.get("/api/trials").json()["trials"]) == 1


def test_a_file_without_a_tick_is_left_alone(client: TestClient, small_bench: SmallBench, make_log):
    tokens = tokens_of(send_many(client, make_log(), make_log(seed=2)))
    fields = {name: value for name, value in fields_of(tokens, small_bench).items() if not name.startswith("keep_")}
    answer = client.post("/trials/add/batch", data=fields)
    assert answer.status_code == 422
    assert "No file is ticked." in answer.text
    assert client.get("/api/trials").json()["trials"] == []


def test_a_table_names_what_is_no_trial(client: TestClient, small_bench: SmallBench, make_log):
    page = client.get(send_many(client, make_log(), POWER, b"no table\n")).text
    assert "This is the log of a power meter: about 40.5\u00a0W over 59\u00a0min." in page
    assert "No table of readings was found" in page
    assert page.count("disabled") == 2


def test_too_many_files_are_refused(client: TestClient):
    answer = client.post("/trials/add", files=[("log", (f"{i}.csv", b"x", "text/csv")) for i in range(31)])
    assert answer.status_code == 422
    assert "31 files were sent; at most 30 fit into one table." in answer.text


def test_a_file_that_is_stored_is_named_before_the_form(client: TestClient, small_bench: SmallBench, make_log):
    content = make_log()
    assert "Already stored" not in client.get(upload(client, content)).text
    send(client, content, conditions(small_bench))
    page = client.get(upload(client, content)).text
    assert page.index('The same file is <a href="/trials/1">trial 1</a>.') < page.index("Trial details")


def test_the_last_unit_and_setting_are_offered(client: TestClient, small_bench: SmallBench, make_log):
    send(client, make_log(), conditions(small_bench))
    page = client.get(upload(client, make_log(seed=2))).text
    chosen = re.findall(r'<option value="(\d+)" selected>', page)
    assert str(small_bench.unit_id) in chosen
    assert re.search(r'name="setting" type="text" value="high"', page)


def test_the_chart_comes_before_the_form_and_the_columns_last(client: TestClient, small_bench: SmallBench, make_log):
    page = client.get(upload(client, make_log())).text
    order = [
        page.index(mark) for mark in ("data-figure-url", "Decay by channel", "Trial details", "Columns of the file")
    ]
    assert order == sorted(order)
    assert '<details class="reading">' in page  # folded


def test_each_error_leads_to_its_field(client: TestClient, small_bench: SmallBench, make_log):
    answer = send(client, make_log(), conditions(small_bench, unit_under_test_id="", room_id=""))
    linked = re.findall(r'<li><a href="#(\w+)">', answer.text)
    assert {"unit_under_test_id", "room_id"} <= set(linked)
    for name in linked:
        assert f'id="{name}"' in answer.text


def test_the_surface_area_of_particles_is_a_trial(client: TestClient, small_bench: SmallBench, make_log):
    content = make_log().replace(b"pm2_5", b"ldsa").replace("PM2.5 [µg/m³]".encode(), "LDSA [µm²/cm³]".encode())
    page = client.get(upload(client, content)).text
    assert "Lung-deposited surface area" in page
    assert "Save trial" in page
    assert send(client, content, conditions(small_bench)).status_code == 303


def test_a_power_log_becomes_the_power_of_a_unit(client: TestClient, small_bench: SmallBench):
    address = upload(client, POWER)
    page = client.get(address).text
    assert "Save power" in page
    assert "Save trial" not in page
    token = address.split("?")[0]
    refused = client.post(f"{token}/power", data={"power_unit_id": str(small_bench.unit_id), "power_setting": "no"})
    assert refused.status_code == 422
    assert "The unit has no setting &#39;no&#39;" in refused.text
    assert "No unit selected. Choose the unit whose power" in client.post(f"{token}/power", data={}).text
    stored = client.post(f"{token}/power", data={"power_unit_id": str(small_bench.unit_id), "power_setting": "high"})
    assert (stored.status_code, stored.headers.get("location")) == (303, f"/units/{small_bench.unit_id}/power")
    assert "40.5" in client.get(f"/units/{small_bench.unit_id}/power").text


def test_a_power_log_may_be_that_of_standby(client: TestClient, small_bench: SmallBench):
    token = upload(client, POWER).split("?")[0]
    client.post(f"{token}/power", data={"power_unit_id": str(small_bench.unit_id), "power_setting": "standby"})
    assert "standby" in client.get(f"/units/{small_bench.unit_id}/power").text.split("<tbody>")[1]


def test_a_sound_log_fills_the_form_of_a_sound_level(client: TestClient, small_bench: SmallBench):
    address = upload(client, SOUND.encode())
    page = client.get(address).text
    assert "57.4\u00a0dB(A) over 59\u00a0min, the mean by energy" in page
    query = f"power_unit_id={small_bench.unit_id}&level=57.4&measured_on=2026-03-02"
    led = client.get(f"{address.split('?')[0]}/sound?{query}")
    assert led.status_code in (303, 307)
    form = client.get(led.headers["location"]).text
    assert 'name="sound_dba" type="text" value="57.4"' in form
    assert 'value="2026-03-02"' in form


# the lines above the table look like a table with names: "Time" and a number below it
MISREAD = "\n".join(
    [
        "Station time,Serial",
        "12:00,77",
        "when,haze density [mg/m3],noise",
        *(f"2026-03-02T10:{i:02d}:00Z,{0.3 * 0.9**i:.5f},7" for i in range(50)),
    ]
).encode()


def test_the_columns_follow_the_line_that_is_clicked_as_the_header(client: TestClient, small_bench: SmallBench):
    address = upload(client, MISREAD).split("?")[0]
    page = client.get(address).text
    assert re.search(r'value="1" aria-pressed="true"', page)  # the wrong line
    assert "haze density" not in page.split("Columns of the file")[-1] or "Save trial" not in page
    stale = {"header_1": "Serial", "column_1": "pm10"}  # said of the columns of the wrong header
    page = client.get(address, params={"choose_header_line": "3"} | stale).text
    assert re.search(r'value="3" aria-pressed="true"', page)
    assert "named by line 3, as you chose" in page
    assert re.search(r'name="header_1" value="haze density \[mg/m3\]"', page)
    assert 'name="column_1" value=""' in page
    assert "Detect again" in page
    again = client.get(address, params={"choose_header_line": "detect", "header_line": "3"}).text
    assert "as you chose" not in again


def test_a_trial_is_stored_as_read_under_the_clicked_header(client: TestClient, store: Engine, small_bench: SmallBench):
    address = upload(client, MISREAD).split("?")[0]
    roles = {"header_0": "when", "column_0": "time", "header_1": "haze density [mg/m3]", "column_1": "pm2_5"}
    answer = client.post(address, data=conditions(small_bench) | roles | {"header_line": "3"})
    assert answer.status_code == 303, answer.text
    with session_scope(store) as session:
        log = session.query(Log).one()
        assert (log.header_line, log.readings) == (3, 50)
    first = client.get("/api/trials/1/readings?channel=pm2_5").json()
    assert first["levels"][0] == pytest.approx(300.0)  # 0.3 mg/m³


def test_a_logger_profile_remembers_the_clicked_header(client: TestClient, store: Engine, small_bench: SmallBench):
    roles = {"header_0": "when", "column_0": "time", "header_1": "haze density [mg/m3]", "column_1": "pm2_5"}
    fields = conditions(small_bench) | roles | {"header_line": "3", "profile_name": "Haze meter"}
    assert client.post(upload(client, MISREAD).split("?")[0], data=fields).status_code == 303
    profile = client.get("/api/logger-profiles").json()["logger_profiles"][-1]
    assert (profile["name"], profile["header_line"]) == ("Haze meter", 3)
    later = MISREAD.replace(b"0.3", b"0.4")
    address = upload(client, later, profile_id=str(profile["id"]))
    page = client.get(address).text
    assert "named by line 3, as in the logger profile" in page
    assert "Save trial" in page
    again = client.get(address, params={"choose_header_line": "detect"}).text
    assert "named by line 1, as detected" in again
    assert 'name="header_line" value="detect"' in again  # so that the next preview does not go back to the profile
    sent = {"log": ("later.csv", later, "text/csv")}
    asked = {"profile_id": profile["id"], "room_id": small_bench.room_id, "kind": "empty room"}
    assert client.post("/api/trials", files=sent, data=asked).json()["log"]["readings"] == 50


@pytest.mark.parametrize("line", ["2000", "0"])
def test_a_header_line_that_names_nothing_is_refused(client: TestClient, small_bench: SmallBench, line: str):
    address = upload(client, MISREAD).split("?")[0]
    page = client.get(address, params={"header_line": line})
    assert page.status_code == 422
    assert "chosen as the header does not hold two names" in page.text
    assert page.text.count('name="choose_header_line"') > 5  # another can be clicked


def test_two_runs_in_one_room_at_the_same_time_are_noted(client: TestClient, small_bench: SmallBench, make_log):
    alone = client.get(upload(client, make_log())).text
    assert "was logged in this room" not in alone
    send(client, make_log(), conditions(small_bench))
    page = client.get(upload(client, make_log(seed=2))).text
    assert re.search(r"trial 1 \([^)]+ at “high”\) was logged in this room from \d\d:\d\d to \d\d:\d\d", page)
    assert "neither rate would be its own" in page
    later = client.get(upload(client, make_log(seed=2, started_at=NOW + timedelta(days=1)))).text
    assert "was logged in this room" not in later


def test_a_table_of_files_notes_those_of_the_same_time(client: TestClient, small_bench: SmallBench, make_log):
    logs = (make_log(), make_log(seed=2), make_log(seed=3, started_at=NOW + timedelta(days=1)))
    address = send_many(client, *logs)
    page = client.get(address, params=httpx.QueryParams(address.split("?")[1]).set("room_id", small_bench.room_id)).text
    rows = page.split("<tbody>")[1].split("</tbody>")[0].split("<tr>")[1:]
    assert ["at the same time" in row for row in rows] == [True, True, False]
    assert "run 2.csv was logged in this room at the same time." in rows[0]
    assert page.count("neither rate would be its own") == 1


def test_the_marks_of_an_upload_can_be_dragged_on_its_chart(client: TestClient, make_log):
    page = client.get(upload(client, make_log())).text
    marks = dict(re.findall(r'<data class="mark" value="([\d.]+)" data-field="(\w+)"', page))
    assert {"smoke_start", "unit_on", "end"} <= set(marks.values())
    assert 'data-marks-form="preview-form"' in page
    for field in ("smoke_start", "unit_on", "end"):
        assert re.search(rf'name="{field}" type="text"', page)  # or typed
