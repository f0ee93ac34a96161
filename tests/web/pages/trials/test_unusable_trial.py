"""A trial that is judged unusable: the verdict comes first, and no page, answer or file shows a rate or time of it."""

import re
from collections.abc import Callable

import pytest
from fastapi.testclient import TestClient

from tests.conftest import SmallBench
from tests.web.pages.adding_a_trial.trial_forms import conditions, empty_room, store

MakeLog = Callable[..., bytes]
RESULTS = (
    "total_decay_per_h",
    "clean_air_delivery_rate_m3_per_h",
    "clean_air_delivery_rate_cfm",
    "air_changes_per_h",
    "standard_clearing_time_min",
)
UNUSABLE = 4


def two_speeds(make_log: MakeLog, seed: int = 3) -> bytes:
    """A slow start for 20 min and six times the rate after it: no single rate describes the run."""
    slow = make_log(decay_rate_per_h=1.6, minutes=20, start_level=400, seed=seed).decode().splitlines()
    fast = make_log(decay_rate_per_h=9.0, minutes=60, start_level=236.0, seed=seed + 1).decode().splitlines()
    head, peak = len(slow), 1 + 15 * 6
    times = make_log(minutes=120, seed=seed).decode().splitlines()
    after = [line.split(",", 1)[1] for line in fast[peak:]]
    joined = [f"{times[head + place].split(',', 1)[0]},{values}" for place, values in enumerate(after)]
    return ("\n".join([*slow, *joined]) + "\n").encode()


@pytest.fixture
def numbers_before(client: TestClient, small_bench: SmallBench, make_log: MakeLog) -> dict[str, object]:
    """Two empty-room runs and a good trial; then the unusable one. Given: numbers of the unit before it was added."""
    for seed in (11, 12):
        store(client, make_log(decay_rate_per_h=0.6, seed=seed, minutes=120), empty_room(small_bench))
    assert store(client, make_log(seed=5), conditions(small_bench)).status_code == 303
    before = unit_numbers(client)
    answer = store(client, two_speeds(make_log), conditions(small_bench))
    assert answer.headers["location"] == f"/trials/{UNUSABLE}"
    return before


def unit_numbers(client: TestClient) -> dict[str, object]:
    """Everything measured in the line of the unit's ranking."""
    (line,) = client.get("/api/ranking").json()["ranking"]
    counts = ("trials", "latest_trial_id", "latest_trial_on", "notes")
    return {name: value for name, value in line.items() if name not in counts}


def test_an_unusable_run_changes_no_number_of_its_unit(client: TestClient, numbers_before: dict[str, object]):
    assert unit_numbers(client) == numbers_before
    assert client.get("/api/ranking").json()["ranking"][0]["trials"] == 2


def test_its_answer_for_scripts_has_a_verdict_and_no_result(client: TestClient, numbers_before: dict[str, object]):
    channel = client.get(f"/api/trials/{UNUSABLE}").json()["channels"]["pm2_5"]
    assert channel["verdict"]["status"] == "unusable"
    assert "The curve is not a single exponential" in channel["verdict"]["reasons"][0]
    assert "set the run end to" in channel["verdict"]["advice"][0]
    assert [channel[name] for name in RESULTS] == [None] * len(RESULTS)
    clear = channel["time_to_clear_min"]
    assert (clear["reached"], clear["value"], clear["not_before"], clear["predicted"]) == (False, None, None, None)


def test_its_page_says_why_and_what_to_do_before_anything_else(client: TestClient, numbers_before: dict[str, object]):
    page = client.get(f"/trials/{UNUSABLE}").text
    after_title = page.split("</h1>")[1]
    verdict = after_title.split('class="answer"')[0]
    assert "<strong>PM2.5: unusable.</strong>" in verdict
    assert "The curve is not a single exponential" in verdict
    assert "otherwise set the fit start to" in verdict
    assert '<p class="answer">This trial gives no result for PM2.5.</p>' in after_title
    assert "did not clear" not in page
    assert "was clear after" not in page
    row = page.split("<tbody>")[1].split("</tr>")[0]
    assert "±" not in row.split('class="number may-wrap"')[0]
    residuals = client.get(f"/trials/{UNUSABLE}/residuals.json?channel=pm2_5").json()
    assert len(residuals["data"][0]["x"]) > 20  # the fit is still drawn, to see what is wrong with it
    listed = client.get("/trials").text.split(f"/trials/{UNUSABLE}")[1].split("</tr>")[0]
    assert "unusable" in listed
    assert "±" not in listed


def test_the_preview_that_it_links_to_is_usable(client: TestClient, numbers_before: dict[str, object]):
    page = client.get(f"/trials/{UNUSABLE}").text
    links = re.findall(r'<a href="(/trials/\d+/marks\?[^"]+)">Preview (run end|fit start)</a>', page)
    assert [words for _, words in links][-1] == "fit start"
    for url, _ in links:
        shown = client.get(url.replace("&amp;", "&")).text
        assert "<strong>PM2.5: unusable" not in shown
        assert "Effect on results" in shown


def test_a_good_trial_says_that_it_is_usable(client: TestClient, numbers_before: dict[str, object]):
    verdict = client.get("/trials/3").text.split("</h1>")[1].split('class="answer"')[0]
    assert "PM2.5: usable" in verdict
    assert client.get("/api/trials/3").json()["channels"]["pm2_5"]["verdict"]["status"] in ("usable", "check")


def test_a_run_that_ended_because_the_level_rose_again_says_so(
    client: TestClient, small_bench: SmallBench, make_log: MakeLog
):
    """The level rises after 18 min of decay, with a third of the smoke left; the log runs for 70 min."""
    lines = make_log(decay_rate_per_h=4.0, minutes=70, start_level=400).decode().splitlines()
    rise = 1 + (15 + 18) * 6
    again = [
        line.split(",", 1)[1]
        for line in make_log(decay_rate_per_h=4.0, minutes=70, start_level=260).decode().splitlines()[1:]
    ]
    begin = 12 * 6  # there the second log has begun to rise
    joined = [f"{line.split(',', 1)[0]},{again[begin + place]}" for place, line in enumerate(lines[rise:])]
    content = ("\n".join([*lines[:rise], *joined]) + "\n").encode()
    assert store(client, content, conditions(small_bench)).status_code == 303
    answer = client.get("/trials/1").text.split('class="answer">')[1].split("</p>")[0]
    found = re.search(
        r"The room was not clear when the run ended, after (\d+)\s*min, when the level rose again", answer
    )
    assert found is not None, answer
    assert int(found[1]) == pytest.approx(18, abs=2)
