"""Adding a trial through the two forms: preview first, stored only on confirmation, with everything new."""

import re
from collections.abc import Callable
from pathlib import Path

import pytest
from fastapi.testclient import TestClient
from sqlalchemy import Engine

from app.settings import Settings
from app.storage.engine import session_scope
from app.storage.models.bench import Bench
from tests.conftest import SmallBench
from tests.web.pages.adding_a_trial.trial_forms import conditions, empty_room, message_by, upload
from tests.web.pages.adding_a_trial.trial_forms import store as send

MakeLog = Callable[..., bytes]


def waiting_files(settings: Settings) -> list[Path]:
    return list((settings.data_folder / "uploads").glob("*"))


def test_an_empty_bench_leads_to_this_form(client: TestClient):
    assert "/trials/add" in client.get("/trials").text
    page = client.get("/trials/add").text
    assert "carbon monoxide" in page
    assert 'type="file"' in page


def test_no_file_is_told_beside_the_field(client: TestClient):
    answer = client.post("/trials/add", data={"timezone": "Europe/Berlin"})
    assert answer.status_code == 422
    assert "No file selected." in message_by(answer.text, "log")
    assert 'value="Europe/Berlin"' in answer.text


def test_an_empty_file_is_refused(client: TestClient, settings: Settings):
    answer = client.post("/trials/add", files={"log": ("empty.csv", b"", "text/csv")})
    assert answer.status_code == 422
    assert "empty.csv is empty" in message_by(answer.text, "log")
    assert waiting_files(settings) == []


def test_the_preview_says_what_was_read_and_stores_nothing(client: TestClient, make_log: MakeLog):
    content = make_log() + b"2026-03-02T10:16:00Z,ERR,1,1\n"
    page = client.get(upload(client, content))
    assert page.status_code == 200
    assert "PM2.5 [µg/m³]" in page.text
    assert "one every 10 s" in page.text
    assert "Nothing is saved yet" in page.text
    assert "figure.json?" in page.text
    assert re.search(r"Total decay.*?<td class=\"number\">[\d.]+", page.text, re.DOTALL)
    assert client.get("/api/trials").json()["trials"] == []


def test_the_drawing_of_a_waiting_log_is_served(client: TestClient, make_log: MakeLog):
    page = client.get(upload(client, make_log())).text
    url = page.split('data-figure-url="')[1].split('"')[0].replace("&amp;", "&")
    figure = client.get(url).json()
    texts = [note["text"] for note in figure["layout"]["annotations"]]
    assert any("Time after the first reading" in text for text in texts)
    assert figure["data"]


def test_a_file_that_is_no_log_gets_line_and_text_and_stays_for_another_try(client: TestClient):
    address = upload(client, b"hello\nworld\n", "note.txt")
    page = client.get(address)
    assert page.status_code == 422
    assert "note.txt" in page.text
    assert "Nothing was saved" in page.text
    assert "Apply" in page.text
    assert "Save trial" not in page.text


def test_confirming_stores_the_trial_and_clears_the_waiting_file(
    client: TestClient, settings: Settings, small_bench: SmallBench, make_log: MakeLog
):
    answer = send(client, make_log(), conditions(small_bench, notes="door shut"))
    assert answer.status_code == 303, answer.text
    assert answer.headers["location"] == "/trials/1"
    assert waiting_files(settings) == []
    trial = client.get("/api/trials/1").json()
    assert trial["unit_under_test"]["model"] == "Model 1"
    assert trial["setting"]["name"] == "high"
    assert trial["notes"] == "door shut"
    assert trial["channels"]["pm2_5"]["total_decay_per_h"]["value"] == pytest.approx(6.0, rel=0.05)


def test_the_last_conditions_are_offered_again(client: TestClient, small_bench: SmallBench, make_log: MakeLog):
    send(client, make_log(), conditions(small_bench))
    page = client.get(upload(client, make_log(seed=2))).text
    assert f'<option value="{small_bench.room_id}" selected>' in page
    assert 'name="tested_by" type="text" value="Ada"' in page


def test_everything_new_is_added_on_the_way(client: TestClient, make_log: MakeLog):
    answer = send(
        client,
        make_log(),
        {
            "kind": "unit running",
            "unit_under_test_id": "new",
            "maker": "Maker N",
            "model": "Model 9",
            "kind_of_cleaning": "water wash",
            "mass_kg": "4,5",
            "unit_notes": "on loan",
            "setting": "boost",
            "room_id": "new",
            "room": "Cellar",
            "length_m": "4",
            "width_m": "3",
            "height_m": "2,5",
            "logger_id": "new",
            "logger": "Pocket meter",
            "smoke_source_id": "new",
            "smoke_source": "paper",
            "aerosol": "smoke",
            "tested_by": "Ada",
        },
    )
    assert answer.status_code == 303, answer.text
    trial = client.get("/api/trials/1").json()
    unit = client.get(f"/api/units/{trial['unit_under_test']['id']}").json()
    assert (unit["maker"], unit["kind"], unit["mass_kg"], unit["notes"]) == ("Maker N", "water wash", 4.5, "on loan")
    assert trial["setting"]["name"] == "boost"
    assert trial["room"]["room_volume_m3"] == 30.0
    assert trial["logger"]["name"] == "Pocket meter"
    assert trial["smoke_source"]["name"] == "paper"


@pytest.mark.parametrize(
    ("changed", "field", "message"),
    [
        ({"unit_under_test_id": ""}, "unit_under_test_id", "No unit selected."),
        ({"setting": ""}, "setting", "The setting is empty. Enter"),
        ({"setting": "hihg"}, "setting", "The unit has no setting 'hihg'; its settings are: low, high."),
        ({"room_id": ""}, "room_id", "No room selected."),
        ({"room_id": "new"}, "room", "The room name is empty"),
        ({"logger_id": "new"}, "logger", "The logger name is empty"),
        ({"smoke_source_id": "new"}, "smoke_source", "The smoke source name is empty"),
        ({"unit_on": "soon"}, "unit_on", "enter a number such as 12.5"),
        ({"unit_on": "25:99"}, "unit_on", "'25:99' is not a time of day"),
        ({"unit_on": "400"}, "unit_on", "the log runs from 0 to 4500 s"),
        ({"unit_on": "20", "end": "10"}, "end", "Marks must be in the order of the run"),
        ({"background_ug_m3": "-3"}, "background_ug_m3", "it must be zero or above"),
        (
            {"clear_level_kind": "share_of_start", "clear_level_value": "5"},
            "clear_level_value",
            "enter a fraction above 0",
        ),
    ],
)
def test_a_mistake_stores_nothing_keeps_the_file_and_what_was_typed(
    client: TestClient,
    settings: Settings,
    small_bench: SmallBench,
    make_log: MakeLog,
    changed: dict[str, str],
    field: str,
    message: str,
):
    answer = send(client, make_log(), conditions(small_bench, notes="kept words", **changed))
    assert answer.status_code == 422
    assert message in message_by(answer.text, field)
    assert "kept words" in answer.text
    assert client.get("/api/trials").json()["trials"] == []
    assert len(client.get("/api/rooms").json()["rooms"]) == 1
    assert (
        len([file for file in waiting_files(settings) if file.suffix == ".log"]) == 1
    )  # the file and what is known of it


def test_a_new_setting_is_taken_when_it_is_ticked(client: TestClient, small_bench: SmallBench, make_log: MakeLog):
    answer = send(client, make_log(), conditions(small_bench, setting="turbo", setting_is_new="1"))
    assert answer.status_code == 303, answer.text
    names = [setting["name"] for setting in client.get(f"/api/units/{small_bench.unit_id}").json()["settings"]]
    assert names == ["low", "high", "turbo"]


def test_the_same_file_for_the_same_trial_is_refused(client: TestClient, small_bench: SmallBench, make_log: MakeLog):
    send(client, make_log(), conditions(small_bench))
    again = send(client, make_log(), conditions(small_bench))
    assert again.status_code == 422
    assert "is trial 1, which already exists" in again.text
    assert len(client.get("/api/trials").json()["trials"]) == 1


def test_a_column_is_assigned_by_hand_and_the_reading_kept_as_a_profile(
    client: TestClient, small_bench: SmallBench, make_log: MakeLog
):
    content = make_log(channels=("alpha", "beta", "gamma"))
    address = upload(client, content)
    assert client.get(address).status_code == 422  # no column is recognised
    chosen = {"header_2": "beta", "column_2": "pm2_5", "unit_2": "µg/m³"}
    headers = {f"header_{position}": name for position, name in enumerate(("time", "alpha", "beta", "gamma"))}
    page = client.get(address, params=headers | chosen)
    assert page.status_code == 200, page.text
    assert "PM2.5 [µg/m³]" in page.text
    fields = conditions(small_bench, profile_name="Nameless meter") | headers | chosen
    assert client.post(address.split("?")[0], data=fields).status_code == 303
    assert list(client.get("/api/trials/1").json()["channels"]) == ["pm2_5"]
    profile = client.get("/api/logger-profiles").json()["logger_profiles"][0]
    assert profile["name"] == "Nameless meter"
    following = upload(client, make_log(channels=("alpha", "beta", "gamma"), seed=3), profile_id=str(profile["id"]))
    assert client.get(following).status_code == 200


def test_local_times_need_a_zone_that_can_be_given(client: TestClient, make_log: MakeLog):
    local = make_log().replace(b"Z,", b",")
    page = client.get(upload(client, local, timezone="Europe/Berlin")).text
    assert "from 2026-03-02 09:00:00" in page
    assert "Europe/Berlin" in page


def test_local_times_without_a_zone_are_those_of_the_bench(client: TestClient, make_log: MakeLog, store: Engine):
    with session_scope(store) as session:
        session.get_one(Bench, 1).timezone = "Europe/Berlin"
    page = client.get(upload(client, make_log().replace(b"Z,", b","))).text
    assert "from 2026-03-02 09:00:00" in page
    assert 'name="timezone" type="text" value="Europe/Berlin"' in page
    assert "without a time zone. They were read as Europe/Berlin" in page


def test_a_zone_that_was_chosen_is_not_asked_for_again(client: TestClient, make_log: MakeLog):
    local = make_log().replace(b"Z,", b",")
    for page in (
        client.get(upload(client, make_log())).text,
        client.get(upload(client, local), params={"timezone": "Asia/Tokyo"}).text,
    ):
        assert "Please check" not in page


def test_dates_that_can_be_read_in_two_ways_are_asked_about(client: TestClient):
    rows = [f"2.3.2026 09:{minute:02d}:{second:02d}Z,{minute + 5}" for minute in range(20) for second in (0, 30)]
    address = upload(client, "\n".join(["time,PM2.5 [µg/m³]", *rows]).replace(".3.", "/3/").encode())
    page = client.get(address).text
    assert "The file does not show whether a date such as 3/4/2026 is in March or in April" in page
    assert "The file does not show" not in client.get(address, params={"date_order": "day first"}).text


def test_a_clock_in_an_impossible_year_is_said_where_it_is_seen(client: TestClient, make_log: MakeLog):
    page = client.get(upload(client, make_log().replace(b"2026-", b"2945-"))).text
    checked = page.split("Please check</strong>", 1)[1].split("Import notes")[0]
    assert "The logger clock shows the year 2945" in checked
    assert "date of the run. Enter the start of the run below" in checked
    assert 'name="started_at"' in page


def test_one_box_is_not_called_several(client: TestClient, make_log: MakeLog):
    lines = make_log().decode().splitlines()
    boxed = [f"box,{lines[0]}", *(f"left,{line}" for line in lines[1:])]
    assert "The file holds several sheets or boxes" not in client.get(upload(client, "\n".join(boxed).encode())).text


def test_a_box_is_chosen_where_the_file_holds_several(client: TestClient, make_log: MakeLog):
    lines = make_log().decode().splitlines()
    boxed = [f"box,{lines[0]}"] + [f"{name},{line}" for line in lines[1:] for name in ("left", "right")]
    address = upload(client, "\n".join(boxed).encode())
    page = client.get(address).text
    assert 'value="left"' in page
    assert 'value="right"' in page
    assert client.get(address, params={"box": "right"}).status_code == 200


def test_marks_can_be_typed_as_minutes_or_as_a_time_of_day(
    client: TestClient, small_bench: SmallBench, make_log: MakeLog
):
    answer = send(client, make_log(), conditions(small_bench, unit_on="09:16:30", end="70,5"))
    assert answer.status_code == 303, answer.text
    marks = client.get("/api/trials/1").json()["marks"]
    assert marks["unit_on_s"] == 990.0
    assert marks["end_s"] == 4230.0


def test_an_empty_room_run_needs_no_unit(client: TestClient, small_bench: SmallBench, make_log: MakeLog):
    answer = send(client, make_log(decay_rate_per_h=0.5), empty_room(small_bench))
    assert answer.status_code == 303, answer.text
    trial = client.get("/api/trials/1").json()
    assert trial["kind"] == "empty room"
    assert trial["unit_under_test"] is None


def test_a_file_can_be_thrown_away(client: TestClient, settings: Settings, make_log: MakeLog):
    address = upload(client, make_log()).split("?")[0]
    assert client.post(f"{address}/discard").status_code == 303
    assert waiting_files(settings) == []
    gone = client.get(address)
    assert gone.status_code == 404
    assert "There is no waiting upload" in gone.text


@pytest.mark.parametrize("token", ["x", "..%2f..%2fbench", "a" * 32])
def test_a_token_that_is_none_finds_nothing(client: TestClient, token: str):
    assert client.get(f"/trials/add/{token}").status_code == 404


def test_names_in_a_file_are_shown_as_text(client: TestClient, make_log: MakeLog):
    content = make_log(channels=("PM2.5 [µg/m³]", "<script>alert(1)</script>", '"><b>'))
    page = client.get(upload(client, content, "<img src=x>.csv")).text
    assert "<script>alert" not in page
    assert "<img src=x>" not in page
    assert "&lt;script&gt;" in page


def test_every_mistake_is_told_at_once_and_everything_typed_is_kept(
    client: TestClient, settings: Settings, small_bench: SmallBench, make_log: MakeLog
):
    """Nobody corrects one mistake only to be shown the next."""
    wrong = {
        "unit_under_test_id": "new",
        "maker": "",
        "model": "",
        "mass_kg": "heavy",
        "setting": "",
        "room_id": "new",
        "room": "",
        "length_m": "-4",
        "width_m": "wide",
        "height_m": "0",
        "logger_id": "new",
        "logger": "Logger A",
        "response_time_s": "-1",
        "smoke_source_id": "new",
        "smoke_source": "",
        "tested_by": "A" * 201,
        "unit_on": "20",
        "end": "10",
        "background_ug_m3": "-3",
        "notes": "kept words",
    }
    answer = send(client, make_log(), conditions(small_bench, **wrong))
    assert answer.status_code == 422
    for field, message in {
        "maker": "The maker is empty",
        "model": "The model is empty",
        "mass_kg": "enter a number such as 12.5",
        "setting": "The setting is empty. Enter",
        "room": "The room name is empty",
        "length_m": "The length is -4 m; it must be above zero",
        "width_m": "enter a number such as 12.5",
        "height_m": "The height is 0 m; it must be above zero",
        "logger": "already exists",
        "response_time_s": "it must be zero or above",
        "smoke_source": "The smoke source name is empty",
        "tested_by": "at most 200 are allowed",
        "end": "Marks must be in the order of the run",
        "background_ug_m3": "it must be zero or above",
    }.items():
        assert message in message_by(answer.text, field), field
    for kept in ('value="-4"', 'value="wide"', "kept words", 'value="Logger A"'):
        assert kept in answer.text
    assert "not yet named" not in answer.text  # what the search for mistakes puts in their place
    assert client.get("/api/trials").json()["trials"] == []
    for path, name in (
        ("rooms", "rooms"),
        ("loggers", "loggers"),
        ("units", "units"),
        ("smoke-sources", "smoke_sources"),
    ):
        assert len(client.get(f"/api/{path}").json()[name]) == 1, path
    assert len(list((settings.data_folder / "uploads").glob("*.log"))) == 1


def test_a_new_room_without_name_and_size_is_asked_for_both(
    client: TestClient, small_bench: SmallBench, make_log: MakeLog
):
    answer = send(client, make_log(), conditions(small_bench, room_id="new", room=""))
    assert answer.status_code == 422
    assert message_by(answer.text, "room") == "The room name is empty. Enter at least one letter."
    assert message_by(answer.text, "room_volume_m3").startswith("The room has no volume and 0 of 3 dimensions.")
    assert "not yet named" not in answer.text


def test_the_preview_counts_the_event_rows_that_it_lists(client: TestClient):
    rows = [
        f"2026-03-02T{10 + i // 60}:{i % 60:02d}:00Z,{200 - i},{'Button pressed' if i == 30 else ''}" for i in range(60)
    ]
    rows.insert(31, "2026-03-02T10:30:30Z,,Button pressed")
    content = "\n".join(["time,PM2.5 [µg/m³],event", *rows]).encode()
    page = client.get(upload(client, content)).text
    listed = page.split("Skipped rows and cells (")[1]
    assert int(listed.split(")")[0]) == listed.split("</table>")[0].count('<tr><th scope="row"') > 0


def test_hourly_readings_are_an_hour_apart_in_words(client: TestClient):
    rows = [f"2026-03-02T{hour:02d}:00:00Z,{200 - hour}" for hour in range(24)]
    page = client.get(upload(client, "\n".join(["time,PM2.5 [µg/m³]", *rows]).encode())).text
    assert "24 readings, one every 60 min, 1 channel, from" in page
    assert "e+0" not in page.split("How the file was read")[0]


def test_mistakes_of_the_trial_are_told_beside_a_file_that_cannot_be_read(
    client: TestClient, small_bench: SmallBench, make_log: MakeLog
):
    answer = send(client, make_log(), conditions(small_bench, timezone="Middle/Earth", setting="", room_id=""))
    assert answer.status_code == 422
    assert "Middle/Earth" in answer.text
    assert "is empty" in message_by(answer.text, "setting")
    assert "No room selected" in message_by(answer.text, "room_id")


def test_a_column_is_not_read_as_a_channel_that_does_not_exist(
    client: TestClient, small_bench: SmallBench, make_log: MakeLog
):
    told = {"header_1": "PM1 [µg/m³]", "column_1": "zzz"}
    address = upload(client, make_log())
    page = client.get(address, params=told)
    assert page.status_code == 422
    assert "There is no channel 'zzz'" in message_by(page.text, "column_1")
    assert 'value="zzz"' in page.text
    assert client.post(address.split("?")[0], data=conditions(small_bench) | told).status_code == 422
    own = told | {"column_1": "own:zzz"}
    assert client.post(address.split("?")[0], data=conditions(small_bench) | own).status_code == 303
    assert "zzz" in client.get("/api/trials/1").json()["log"]["channels"]


def test_a_profile_keeps_no_zone_that_was_only_assumed(
    client: TestClient, small_bench: SmallBench, make_log: MakeLog, store: Engine
):
    with session_scope(store) as session:
        session.get_one(Bench, 1).timezone = "Europe/Berlin"
    local = make_log().replace(b"Z,", b",")
    assumed = {"timezone": "Europe/Berlin", "assumed_timezone": "Europe/Berlin"}
    page = client.get(upload(client, local)).text
    assert 'type="hidden" name="assumed_timezone" value="Europe/Berlin"' in page
    assert "The logger clock was set to Europe/Berlin" in page
    assert send(client, local, conditions(small_bench, profile_name="Unsure", **assumed)).status_code == 303
    trial = client.get("/api/trials/1").json()
    assert "nobody has confirmed this" in " ".join(trial["log"]["notes"])
    sure = assumed | {"timezone_is_right": "1", "setting": "low", "profile_name": "Sure"}
    other = make_log(seed=3).replace(b"Z,", b",")
    assert send(client, other, conditions(small_bench, **sure)).status_code == 303
    assert "nobody has confirmed this" not in " ".join(client.get("/api/trials/2").json()["log"]["notes"])
    zones = {one["name"]: one["timezone"] for one in client.get("/api/logger-profiles").json()["logger_profiles"]}
    assert zones == {"Unsure": "", "Sure": "Europe/Berlin"}


def test_every_column_of_a_wide_file_can_be_assigned(client: TestClient, small_bench: SmallBench):
    """Some are shown at a time and found by their words; what was chosen for the others is sent along."""
    names = [f"quantity {number}" for number in range(300)]
    rows = [
        ",".join([f"2026-03-02T09:{minute:02d}:00Z", *(f"{400 * 0.9**minute + 5:.2f}" for _ in names)])
        for minute in range(50)
    ]
    content = "\n".join([",".join(["time", *names]), *rows]).encode()
    address = upload(client, content)
    last = client.get(address, params={"columns_from": "300"})
    assert "quantity 299" in last.text
    assert "quantity 10<" not in last.text
    found = client.get(address, params={"columns_like": "quantity 250"}).text
    assert "1 of the 301 columns of the file, of which 1 match" in found
    chosen = {"header_251": "quantity 250", "column_251": "pm2_5", "unit_251": "µg/m³"}
    first = client.get(address, params=chosen)
    assert first.status_code == 200
    assert '<input type="hidden" name="column_251" value="pm2_5">' in first.text
    assert client.post(address.split("?")[0], data=conditions(small_bench) | chosen).status_code == 303
    assert list(client.get("/api/trials/1").json()["channels"]) == ["pm2_5"]
