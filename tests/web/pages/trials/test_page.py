"""The trial page, preview of other marks, exclusion, trash and edits."""

import re
from collections.abc import Callable

import pytest
from fastapi.testclient import TestClient

from tests.conftest import SmallBench
from tests.web.pages.adding_a_trial.trial_forms import conditions, empty_room, message_by, store

MakeLog = Callable[..., bytes]


@pytest.fixture
def trial_of_unit(client: TestClient, small_bench: SmallBench, make_log: MakeLog) -> int:
    """Two empty-room runs (trials 1 and 2) and one trial with the unit running (trial 3), whose id is given."""
    for seed in (11, 12):
        content = make_log(decay_rate_per_h=0.6, seed=seed, minutes=120)
        assert store(client, content, empty_room(small_bench)).status_code == 303
    answer = store(client, make_log(seed=5), conditions(small_bench, notes="door shut"))
    assert answer.status_code == 303, answer.text
    return 3


def test_the_page_tells_the_finding_first_and_what_it_rests_on(client: TestClient, trial_of_unit: int):
    page = client.get(f"/trials/{trial_of_unit}").text
    answer = page.split('class="answer">')[1].split("</p>")[0]
    assert "PM2.5 fell at" in answer
    assert "of clean air" in answer
    assert "The room was clear after" in answer
    assert '<a href="/trials/1">trial 1</a>, <a href="/trials/2">trial 2</a>' in page
    assert client.get(f"/api/trials/{trial_of_unit}").json()["log"]["sha256"] in page
    assert f'href="/api/trials/{trial_of_unit}/log"' in page
    assert "door shut" in page
    assert "The noise of the logger is not known from other trials." in page
    known = client.get(f"/api/trials/{trial_of_unit}").json()["channels"]["pm2_5"]["noise_prior_trials"]
    assert known == 0
    assert "carbon monoxide" not in page  # the caution is shown where smoke is produced


def test_the_start_names_its_zone_and_the_value_of_a_mark_its_unit(
    client: TestClient, small_bench: SmallBench, make_log: MakeLog
):
    answer = store(client, make_log(), conditions(small_bench, timezone="America/Chicago"))
    assert answer.status_code == 303, answer.text
    assert re.search(r"<dt>Started</dt><dd>\d{4}-\d\d-\d\d \d\d:\d\d [A-Z]\S+<", client.get("/trials/1").text)
    for page in (client.get("/trials/1").text, client.get("/trials/1/marks").text, client.get("/bench").text):
        label = page.split('<label for="clear_level_value">')[1].split("</label>")[0]
        assert "Clear level value" in label
        assert "[µg/m³ or fraction]" in label


def test_without_an_empty_room_run_the_unit_gets_no_rate(
    client: TestClient, small_bench: SmallBench, make_log: MakeLog
):
    store(client, make_log(), conditions(small_bench))
    page = client.get("/trials/1").text
    assert "There is no matching empty-room run of this room" in page
    assert client.get("/api/trials/1").json()["channels"]["pm2_5"]["clean_air_delivery_rate_m3_per_h"] is None


def test_units_channel_and_axis_are_in_the_address(client: TestClient, trial_of_unit: int):
    page = client.get(f"/trials/{trial_of_unit}?channel=pm10&scale=log&units=us").text
    assert "PM10 fell at" in page
    assert "cfm" in page.split('class="answer">')[1].split("</p>")[0]
    assert f"/trials/{trial_of_unit}/figure.json?channel=pm10&amp;scale=log" in page
    figure = client.get(f"/trials/{trial_of_unit}/figure.json?channel=pm10&scale=log").json()
    assert figure["layout"]["yaxis"]["type"] == "log"
    residuals = client.get(f"/trials/{trial_of_unit}/residuals.json?channel=pm10").json()
    assert len(residuals["data"][0]["x"]) > 20


def test_the_drawing_follows_marks_in_its_address(client: TestClient, trial_of_unit: int):
    def window(query: str) -> float:
        shapes = client.get(f"/trials/{trial_of_unit}/figure.json?{query}").json()["layout"]["shapes"]
        return next(shape["x0"] for shape in shapes if shape["type"] == "rect")

    assert window("channel=pm2_5&fit_start=25") == pytest.approx(25.0, abs=0.2)
    assert window("channel=pm2_5") != pytest.approx(25.0, abs=0.2)
    wrong = client.get(f"/trials/{trial_of_unit}/figure.json?fit_start=soon")
    assert wrong.status_code == 422


def test_other_marks_are_shown_before_they_are_saved(client: TestClient, trial_of_unit: int):
    before = client.get(f"/api/trials/{trial_of_unit}").json()
    page = client.get(f"/trials/{trial_of_unit}/marks", params={"unit_on": "18", "end": "60"}).text
    assert "Effect on results" in page
    assert "Total decay" in page
    assert 'name="unit_on" value="18"' in page
    assert client.get(f"/api/trials/{trial_of_unit}").json() == before
    saved = client.post(
        f"/trials/{trial_of_unit}/marks",
        data={"unit_on": "18", "end": "60", "who": "Ada", "why": "switched on at the minute mark"},
    )
    assert saved.status_code == 303
    after = client.get(f"/api/trials/{trial_of_unit}").json()
    assert after["marks"]["unit_on_s"] == 1080.0
    assert after["channels"]["pm2_5"]["unit_on_s"] == 1080.0
    page = client.get(f"/trials/{trial_of_unit}").text
    assert "the mark “unit on” [min] was changed" in page
    assert "switched on at the minute mark" in page
    assert "PM2.5: the total decay [1/h] was recalculated" in page
    assert "unit_on_s" not in page


def test_marks_that_do_not_fit_are_told_beside_their_field(client: TestClient, trial_of_unit: int):
    for answer in (
        client.get(f"/trials/{trial_of_unit}/marks", params={"unit_on": "500"}),
        client.post(f"/trials/{trial_of_unit}/marks", data={"unit_on": "500"}),
    ):
        assert answer.status_code == 422
        assert "the log runs from 0 to" in message_by(answer.text, "unit_on")
        assert 'value="500"' in answer.text
    answer = client.get(f"/trials/{trial_of_unit}/marks", params={"unit_on": "1,234"})
    assert "is ambiguous" in message_by(answer.text, "unit_on")
    assert client.get(f"/api/trials/{trial_of_unit}").json()["marks"]["unit_on_s"] is None


def test_taking_a_mark_back_has_it_found_again(client: TestClient, trial_of_unit: int):
    before = client.get(f"/api/trials/{trial_of_unit}").json()["channels"]["pm2_5"]["unit_on_s"]
    client.post(f"/trials/{trial_of_unit}/marks", data={"unit_on": "20"})
    client.post(f"/trials/{trial_of_unit}/marks", data={"unit_on": ""})
    after = client.get(f"/api/trials/{trial_of_unit}").json()
    assert after["marks"]["unit_on_s"] is None
    assert after["channels"]["pm2_5"]["unit_on_s"] == before


def test_an_excluded_trial_stays_listed_with_who_and_why(client: TestClient, trial_of_unit: int):
    refused = client.post(f"/trials/{trial_of_unit}/exclude", data={"why": " ", "who": "Ada"})
    assert refused.status_code == 422
    assert "The reason for excluding the trial is empty" in message_by(refused.text, "why")
    assert (
        client.post(f"/trials/{trial_of_unit}/exclude", data={"why": "a window stood open", "who": "Ada"}).status_code
        == 303
    )
    page = client.get(f"/trials/{trial_of_unit}").text
    assert "Ada excluded this trial from the results" in page
    assert "a window stood open" in page
    assert "excluded: a window stood open" in client.get("/trials").text
    assert client.post(f"/trials/{trial_of_unit}/restore", data={"who": "Ada"}).status_code == 303
    assert client.get(f"/api/trials/{trial_of_unit}").json()["excluded"] is None


def test_the_trash_keeps_a_trial_until_it_is_taken_back(client: TestClient, trial_of_unit: int):
    refused = client.post(f"/trials/{trial_of_unit}/trash", data={"trash_why": " "})
    assert refused.status_code == 422
    assert "The reason for deleting the trial is empty" in message_by(refused.text, "trash_why")
    assert client.post(f"/trials/{trial_of_unit}/trash", data={"trash_why": "wrong log"}).status_code == 303
    page = client.get(f"/trials/{trial_of_unit}").text
    assert "In the trash" in page
    assert re.search(r"desk moved this trial to the trash on \d{4}-\d\d-\d\d \d\d:\d\d UTC: wrong log", page)
    assert f'/trials/{trial_of_unit}"' not in client.get("/trials").text
    assert f'/trials/{trial_of_unit}"' in client.get("/trials?state=trashed").text
    assert client.post(f"/trials/{trial_of_unit}/untrash").status_code == 303
    assert f'/trials/{trial_of_unit}"' in client.get("/trials").text
    again = client.post(f"/trials/{trial_of_unit}/untrash")
    assert again.status_code == 422
    assert "is not in the trash" in again.text


def test_what_was_told_can_be_corrected_and_results_follow(
    client: TestClient, trial_of_unit: int, small_bench: SmallBench
):
    address = f"/trials/{trial_of_unit}/edit"
    page = client.get(address).text
    assert 'name="setting" type="text" value="high"' in page
    fields = conditions(small_bench, setting="low", notes="it was low", who="Ada", why="read the log book")
    assert client.post(address, data=fields).status_code == 303
    trial = client.get(f"/api/trials/{trial_of_unit}").json()
    assert trial["setting"]["name"] == "low"
    assert trial["notes"] == "it was low"
    assert "read the log book" in client.get(f"/trials/{trial_of_unit}").text
    refused = client.post(address, data=conditions(small_bench, setting="warp", notes="kept"))
    assert refused.status_code == 422
    assert "The unit has no setting 'warp'" in message_by(refused.text, "setting")
    assert "kept" in refused.text


def test_the_list_is_narrowed_by_kind_unit_and_room(client: TestClient, trial_of_unit: int, small_bench: SmallBench):
    assert "trial 3" in client.get("/trials").text
    only_empty = client.get("/trials?kind=empty+room").text
    assert "trial 1" in only_empty
    assert "trial 3" not in only_empty
    of_unit = client.get(f"/trials?unit_under_test_id={small_bench.unit_id}").text
    assert "trial 3" in of_unit
    assert "trial 1<" not in of_unit
    assert "No trials match the filters." in client.get("/trials?room_id=99").text
    wrong = client.get("/trials?state=lost")
    assert wrong.status_code == 422
    assert "choose one of: kept, excluded, trashed" in wrong.text


def test_a_trial_that_is_not_there_is_a_404_page(client: TestClient):
    for path in ("/trials/9", "/trials/9/marks", "/trials/9/edit"):
        answer = client.get(path)
        assert answer.status_code == 404
        assert "There is no trial 9 in this bench." in answer.text


def test_the_method_page_carries_version_and_the_bench_s_choices(client: TestClient):
    from app.compute.method import METHOD_VERSION

    page = client.get("/method").text
    assert f"Method version {METHOD_VERSION}" in page
    assert "10: a level in µg/m³" in page
    assert "180 days" in page


def test_an_empty_room_run_reads_as_natural_decay_and_has_no_unit_to_switch_on(client: TestClient, trial_of_unit: int):
    page = client.get("/trials/1").text
    answer = page.split('class="answer">')[1].split("</p>")[0]
    assert "Without a unit, PM2.5 fell at" in answer
    assert "the natural decay of" in answer
    table = page.split("Results by channel</h2>")[1].split("</table>")[0]
    assert table.count("Natural decay") == 1
    for word in ("Total decay", "Clean air", "Air changes", "unit on"):
        assert word not in table
    assert "Decay start" in page
    assert "Unit on was detected from the curve" not in page
    of_unit = client.get(f"/trials/{trial_of_unit}").text
    assert "Unit on was detected from the curve" in of_unit
    assert "Decay start" not in of_unit


def test_a_background_stands_with_its_unit(client: TestClient, trial_of_unit: int):
    row = client.get(f"/trials/{trial_of_unit}").text.split('<th scope="row">PM2.5')[1].split("</tr>")[0]
    assert row.count("µg/m³") == 2  # start level and background
