"""The page of a room's control charts: what it shows, and what it enters."""

import html
import re
from datetime import timedelta

import pytest
from fastapi.testclient import TestClient
from sqlalchemy import Engine

from app.compute.study_tables import CONTROL_CHART
from app.figures.charts.room_control import LATEST_RUNS, room_control_chart
from app.services.bench.chart_facts import read_chart_facts
from app.services.bench.definitions import NewCheckUnit, NewRoomChange
from app.services.bench.room_changes import add_room_change, mark_check_unit
from app.services.bench.rooms import get_room
from app.services.results.control_charts.key import ChartKey
from app.services.results.control_charts.room_charts import Source, natural_chart, room_charts
from app.services.results.update_derived import update_derived_results
from app.storage.engine import session_scope
from tests.conftest import SmallBench, decay_log
from tests.sample_data.control_bench import FIRST, WEEKS, add_runs, shifted, steady
from tests.web.pages.adding_a_trial.trial_forms import conditions, empty_room, upload


@pytest.fixture
def path(small_bench: SmallBench) -> str:
    return f"/rooms/{small_bench.room_id}/control"


def test_a_room_without_runs_says_what_to_do(client: TestClient, path: str):
    page = client.get(path)
    assert page.status_code == 200
    assert "No usable empty-room run yet. Add one every two or three weeks." in page.text
    assert "Mark a check unit below, and run it every few weeks." in page.text
    assert "data-figure-url" not in page.text
    assert "Smoke in a closed room can harm you" in page.text


@pytest.mark.parametrize("number", [1, 2])
def test_a_room_with_few_runs_has_a_chart_without_limits(
    client: TestClient, path: str, store: Engine, small_bench: SmallBench, number: int
):
    with session_scope(store) as session:
        add_runs(session, small_bench.room_id, steady(number))
    page = client.get(path).text
    assert f"{number} of 16 reference runs: limits appear after {16 - number} more empty-room runs." in page
    assert "/figures/room-control.json" in page
    assert "/figures/room-ewma.json" not in page
    figure = client.get(f"/figures/room-control.json?room={small_bench.room_id}").json()
    assert {trace["name"] for trace in figure["data"]} >= {"Run"}


def test_a_shift_is_shown_with_advice_and_every_run_outside(
    client: TestClient, path: str, store: Engine, small_bench: SmallBench
):
    with session_scope(store) as session:
        add_runs(session, small_bench.room_id, shifted())
        chart = natural_chart(Source(session), ChartKey(small_bench.room_id, "pm2_5", "smoke"))
    page = client.get(path).text
    assert "The natural decay shifted: since about" in page
    assert "If something changed in the room, note it below and begin new limits on that day." in page
    assert page.count("per hour is above the upper limit of") == len(chart.outside) > 0
    for point in chart.outside:
        assert f'<a href="/trials/{point.run.run_id}">' in page
    assert "repeat the empty-room run within a week" in page
    for size, runs in CONTROL_CHART.found_within.items():
        assert f"one of {size:g} standard deviations within {runs} runs" in page


def test_the_channel_and_aerosol_are_chosen_and_never_mixed(
    client: TestClient, path: str, store: Engine, small_bench: SmallBench
):
    with session_scope(store) as session:
        add_runs(session, small_bench.room_id, steady(3))
        add_runs(session, small_bench.room_id, steady(2, level=0.3), channel="voc")
    assert "3 of 16 reference runs" in client.get(path).text
    voc = client.get(f"{path}?channel=voc").text
    assert "2 of 16 reference runs" in voc
    assert "Small VOC sensors respond to many gases and drift." in voc
    wrong = client.get(f"{path}?aerosol=pollen")
    assert wrong.status_code == 422
    assert "no empty-room run with the aerosol &#39;pollen&#39;" in wrong.text


def test_a_change_is_entered_marked_in_the_chart_and_removed(
    client: TestClient, path: str, store: Engine, small_bench: SmallBench
):
    with session_scope(store) as session:
        add_runs(session, small_bench.room_id, steady(20))
    day = (FIRST + timedelta(weeks=9)).date().isoformat()
    fields = {"changed_on": day, "change_kind": "furniture", "change_words": "new sofa", "noted_by": "Ada"}
    answer = client.post(f"/rooms/{small_bench.room_id}/changes", data=fields)
    assert (answer.status_code, answer.headers["location"]) == (303, path)
    assert f"{day}, furniture: new sofa" in client.get(path).text
    assert "furniture" in client.get(f"/figures/room-control.json?room={small_bench.room_id}").text
    without = client.post(f"/rooms/{small_bench.room_id}/changes/1/take-back", data={"why": ""})
    assert without.status_code == 422
    assert "The reason for removal" in without.text
    assert client.post(f"/rooms/{small_bench.room_id}/changes/1/take-back", data={"why": "error"}).status_code == 303
    assert "new sofa" not in client.get(path).text
    assert "new sofa" in client.get("/changes").text


def test_a_change_in_the_future_is_refused_beside_its_field(client: TestClient, path: str, small_bench: SmallBench):
    fields = {"changed_on": "2099-01-01", "change_kind": "season", "change_words": "heating"}
    answer = client.post(f"/rooms/{small_bench.room_id}/changes", data=fields)
    assert answer.status_code == 422
    assert "The change is dated 2099-01-01, which is in the future" in answer.text
    assert 'id="changed_on-error"' in answer.text


def test_the_check_unit_is_marked_charted_and_removed(
    client: TestClient, path: str, store: Engine, small_bench: SmallBench
):
    own = (small_bench.unit_id, small_bench.high_setting_id)
    with session_scope(store) as session:
        add_runs(session, small_bench.room_id, steady(3, level=0.4))
        add_runs(session, small_bench.room_id, steady(18, level=4.0), setting=own, clean_air_share_m3=30.0)
    address = f"/rooms/{small_bench.room_id}/check-unit"
    assert "Maker A Model 1, high" in client.get(path).text
    missing = client.post(address, data={"check_valid_from": "2024-01-01"})
    assert missing.status_code == 422
    assert "Choose the setting that is run as a check." in missing.text
    fields = {"check_setting": str(small_bench.high_setting_id), "check_valid_from": "2024-01-01"}
    assert client.post(address, data=fields).status_code == 303
    assert "Maker A Model 1, high, from 2024-01-01" in client.get(path).text
    assert "In control: 2 runs of the check unit since the reference period" in client.get(path).text
    twice = client.post(address, data=fields)
    assert twice.status_code == 422
    assert "Room A already has a check unit from 2024-01-01" in twice.text
    assert client.post(f"{address}/1/take-back", data={"why": "sold"}).status_code == 303
    assert "No check unit yet." in client.get(path).text
    again = client.post(f"{address}/1/take-back", data={"why": "sold"})
    assert again.status_code == 422
    assert "There is no check unit 1" in again.text


def test_the_preview_of_an_upload_warns_and_leads_to_the_chart(
    client: TestClient, path: str, store: Engine, small_bench: SmallBench
):
    address = upload(client, decay_log(channels=("PM2.5 [µg/m³]",), shares=(1.0,)))
    asked = address.split("?")[0]
    quiet = client.get(asked, params=empty_room(small_bench)).text
    assert "control chart" not in quiet
    with session_scope(store) as session:
        add_runs(session, small_bench.room_id, shifted())
    page = client.get(asked, params=empty_room(small_bench)).text
    assert "This empty-room run is outside the control chart of the room: " in page
    assert f'<a href="{path}">Control chart</a>' in page
    running = client.get(asked, params=conditions(small_bench)).text
    assert "This empty-room run is outside" not in running
    assert "The natural decay shifted: since about" in running


def test_the_list_of_rooms_leads_to_the_charts(client: TestClient, path: str, small_bench: SmallBench):
    assert f'href="{path}"' in client.get("/rooms").text
    assert f'href="{path}"' in client.get(f"/rooms/{small_bench.room_id}/edit").text


def test_the_ranking_of_another_aerosol_or_gas_is_chosen_and_cautioned(
    client: TestClient, store: Engine, small_bench: SmallBench
):
    setting = (small_bench.unit_id, small_bench.high_setting_id)
    with session_scope(store) as session:
        ids = add_runs(session, small_bench.room_id, [4.0], setting=setting)
        ids += add_runs(session, small_bench.room_id, [2.0], setting=setting, channel="voc")
        update_derived_results(session, ids, why="test")
    assert 'name="aerosol"' not in client.get("/").text
    assert "VOC is indicative only" not in client.get("/").text
    assert "VOC is indicative only: small sensors respond to many gases and drift" in client.get("/?channel=voc").text
    with session_scope(store) as session:
        dust = add_runs(session, small_bench.room_id, [5.0], setting=setting, aerosol="dust")
        update_derived_results(session, dust, why="test")
    page = client.get("/?aerosol=dust").text
    assert '<option value="dust" selected>' in page
    assert "PM2.5 of dust" in page


def test_ranking_rows_that_straddle_a_shift_say_so(client: TestClient, store: Engine, small_bench: SmallBench):
    with session_scope(store) as session:
        add_runs(session, small_bench.room_id, shifted())
        days = [FIRST + timedelta(weeks=WEEKS * 20), FIRST + timedelta(weeks=WEEKS * 30)]
        for setting_id, firsts in ((small_bench.high_setting_id, days), (small_bench.low_setting_id, days[:1])):
            for first in firsts:
                add_runs(session, small_bench.room_id, [4.0], setting=(small_bench.unit_id, setting_id), first=first)
        mark = NewCheckUnit(valid_from=FIRST.date())
        mark_check_unit(session, small_bench.room_id, small_bench.high_setting_id, mark)  # updates the summaries
    page = client.get("/?setting=every").text
    [row] = [part for part in page.split("<tr") if 'class="straddles"' in part]
    assert "Maker A, high" in row
    assert f'href="/rooms/{small_bench.room_id}/control?channel=pm2_5&amp;aerosol=smoke"' in row
    lines = client.get("/api/ranking?setting=every").json()["ranking"]
    shifts = {line["setting"]["name"]: line["room_shift"] for line in lines}
    assert shifts["low"] is None
    assert shifts["high"]["words"] in row.replace("&#39;", "'")
    assert shifts["high"]["natural_decay_change_per_h"]["value"] == pytest.approx(0.12, abs=0.02)
    with session_scope(store) as session:
        day = (FIRST + timedelta(weeks=WEEKS * 34)).date()
        add_room_change(session, small_bench.room_id, NewRoomChange(changed_on=day, kind="season", words="x"))
    assert "straddles" in client.get("/?setting=every").text  # a note changes no chart


def test_of_many_runs_the_latest_are_drawn_and_all_are_a_link_away(
    client: TestClient, path: str, store: Engine, small_bench: SmallBench
):
    total = LATEST_RUNS + 5
    with session_scope(store) as session:
        add_runs(session, small_bench.room_id, steady(LATEST_RUNS))
    assert "Runs drawn" not in client.get(path).text
    with session_scope(store) as session:
        add_runs(session, small_bench.room_id, steady(total), channel="pm10")
    latest = client.get(f"{path}?channel=pm10").text
    assert f'<a href="{path}?channel=pm10&amp;runs=all">all {total}</a>' in latest
    every = client.get(f"{path}?channel=pm10&runs=all").text
    assert f'<a href="{path}?channel=pm10">latest {LATEST_RUNS}</a>' in every
    for page, drawn in ((latest, LATEST_RUNS), (every, total)):
        found = re.search(r'data-figure-url="(/figures/room-control[^"]+)"', page)
        figure = client.get(html.unescape(found[1])).json()
        assert sum(len(trace["x"]) for trace in figure["data"] if trace["name"] == "Run") == drawn
    with session_scope(store, writes=False) as session:
        charts, facts = (
            room_charts(Source(session), get_room(session, small_bench.room_id), "pm10"),
            read_chart_facts(session),
        )
        for most, cut in ((LATEST_RUNS, True), (total, False), (None, False)):
            chart = room_control_chart(charts, "natural-decay", facts, most)
            assert chart.subtitle.endswith(f"the latest {LATEST_RUNS} of {total} runs") == cut
