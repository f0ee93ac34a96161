"""A live run in a browser: the replay of the demonstration grows on the page, on a tablet and on a narrow phone."""

import httpx
import pytest

from tests.sample_data.local_access import local_script


@pytest.fixture
def api(served_bench):
    with httpx.Client(base_url=served_bench.address, headers=local_script(served_bench.data_folder)) as client:
        yield client


@pytest.fixture
def replayed(browse, api):
    """The page of a replay; at the end the run is finished, so that its room is free."""
    page = browse("/live", width=390, height=844)
    page.click("text=Replay an invented run")
    page.wait_for_selector(".live-chart svg polyline")
    yield page
    api.post(f"/api/runs/{page.url.rsplit('/', 1)[1]}/finish").raise_for_status()


def points_of(page) -> int:
    return len(page.get_attribute(".live-chart polyline", "points").split())


def test_the_replay_grows_on_the_page_without_a_reload(replayed, keep_picture):
    page = replayed
    page.evaluate("window.stillTheSamePage = true")
    before, words = points_of(page), page.inner_text("[data-live=summary]")
    page.wait_for_function(
        "before => document.querySelector('.live-chart polyline').points.numberOfItems > before + 10", arg=before
    )
    page.wait_for_function("words => document.querySelector('[data-live=summary]').textContent !== words", arg=words)
    assert page.evaluate("window.stillTheSamePage")
    assert "This device’s clock agrees with the bench’s clock; taps" in page.inner_text("[data-live=device-clock]")
    keep_picture(page, "live_narrow")


def test_the_page_fits_a_phone_and_its_buttons_a_thumb(replayed):
    page = replayed
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    for button in page.locator(".taps button").all():
        box = button.bounding_box()
        assert box["height"] >= 48
        assert box["width"] >= 120
    assert page.locator(".taps").bounding_box()["y"] < 844  # seen without scrolling


def test_a_tap_is_recorded_with_the_clock_of_the_device_and_undone(replayed, api):
    page = replayed
    page.click(".taps >> text=Smoke lit")
    page.wait_for_selector(".events >> text=Smoke lit at")
    events = api.get(f"/api/runs/{page.url.rsplit('/', 1)[1]}").json()["events"]
    assert [event["kind"] for event in events if not event["undone_at"]].count("smoke lit") == 1
    page.click(".events button >> nth=0")
    page.wait_for_selector(".events >> text=Smoke lit at", state="detached")


def test_an_event_of_another_device_appears_by_itself(replayed, api):
    page = replayed
    run_id = page.url.rsplit("/", 1)[1]
    api.post(f"/api/runs/{run_id}/events", json={"kind": "mixing fan off"}).raise_for_status()
    page.wait_for_selector(".events >> text=Mixing fan off at")


def test_without_a_script_the_page_reloads_by_itself(chromium, served_bench, replayed):
    context = chromium.new_context(viewport={"width": 390, "height": 844}, java_script_enabled=False)
    context.add_cookies(served_bench.cookies)
    page = context.new_page()
    page.goto(replayed.url)
    before = page.inner_text("[data-live=summary]")
    with page.expect_navigation(timeout=25_000):
        pass
    assert page.inner_text("[data-live=summary]") != before
    assert page.locator(".taps button").count() == 4
    context.close()
