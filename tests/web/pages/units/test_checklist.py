"""What is known and missing of a unit, the first steps of an empty bench, and the first tariff."""

import re

import pytest
from fastapi.testclient import TestClient
from sqlalchemy import Engine

from app.services.bench.choices import bench_choices
from app.services.measurements.definitions import NewRating
from app.services.measurements.ratings import add_rating
from app.services.units.consumables import say_none_needed
from app.storage.engine import session_scope
from tests.conftest import SmallBench
from tests.sample_data.measured_facts import DAY, add_power, add_rate
from tests.web.test_reading_pages import words_of

STEPS = ["/bench", "/rooms/add", "/loggers/add", "/smoke-sources/add", "/tariffs", "/trials/add?kind=empty+room"]


def states(client: TestClient, unit_id: int) -> dict[str, tuple[str, bool]]:
    html = client.get(f"/units/{unit_id}").text.split('id="checklist"')[1].split("</section>")[0]
    found = re.findall(
        r'<li class="(known|missing-item)">.*?<strong>(.*?)</strong>.*?</span>: (.*?)</span>', html, re.S
    )
    return {name: (state.strip(), kind == "known") for kind, name, state in found}


def test_a_new_unit_lacks_all_but_its_price(client: TestClient, small_bench: SmallBench):
    found = states(client, small_bench.unit_id)
    assert len(found) == 12
    assert [name for name, (_, known) in found.items() if known] == ["Price"]
    assert found["Usable runs"][0] == "missing: 2 at “low” and 2 at “high”"
    assert found["Sound"][0] == "0 of 2 settings"
    assert "1 of 12 known; missing: usable runs, empty-room runs" in words_of(client.get("/units/1").text)


def test_what_is_entered_is_known(client: TestClient, store: Engine, small_bench: SmallBench):
    ids = small_bench
    with session_scope(store) as session:
        add_rate(session, ids.unit_id, ids.high_setting_id, ids.room_id, 300.0, usable_trials=1)
        add_power(session, ids.unit_id, ids.high_setting_id, 50.0)
        add_power(session, ids.unit_id, ids.low_setting_id, 20.0)
        add_power(session, ids.unit_id, None, 0.5)
        add_rating(session, ids.unit_id, NewRating(aerosol="smoke", value=180.0, source="x", seen_on=DAY))
        say_none_needed(session, ids.unit_id)
    found = states(client, ids.unit_id)
    assert found["Power"] == ("2 of 2 settings", True)  # standby is no setting
    assert found["Certified rates"] == ("1 rate", True)
    assert found["Filters and other parts"] == ("needs none", True)
    assert found["Usable runs"] == ("missing: 2 at “low” and 1 at “high”", False)
    assert found["Empty-room runs"] == ("match 0 of 1 setting with runs", False)


def test_each_thing_to_know_has_a_form_that_opens_in_place(client: TestClient, small_bench: SmallBench):
    page = client.get("/units/1").text.split('id="checklist"')[1].split("</section>")[0]
    asked = re.findall(r'data-form-url="([^"]+)"(?: data-part="(\w+)")?', page)
    assert len(asked) == 12
    for address, part in asked:
        form = client.get(address.replace("&amp;", "&")).text
        assert len(re.findall(r"<form[^>]* data-in-place", form)) == 1, address
        assert f'data-part="{part}"' in form or not part
    assert [part for _, part in asked if part] == ["price", "parts"]


def test_a_log_opened_in_place_is_of_that_unit(client: TestClient, small_bench: SmallBench, make_log):
    other = client.post("/api/units", json={"maker": "Invented", "model": "Other", "kind": "other"}).json()["id"]
    form = client.get(f"/trials/add?kind=unit+running&unit_under_test_id={other}").text
    sent = dict(re.findall(r'<input type="hidden" name="(\w+)" value="([^"]*)"', form))
    answer = client.post("/trials/add", data=sent, files={"log": ("run.csv", make_log(), "text/csv")})
    assert f'<option value="{other}" selected>' in client.get(answer.headers["location"]).text


def test_every_section_of_the_menu_is_on_the_page(client: TestClient, small_bench: SmallBench):
    page = client.get("/units/1").text
    menu = re.findall(r'<a href="#([\w-]+)"', page.split('class="sections"')[1].split("</nav>")[0])
    assert len(menu) == 8
    for section in menu:
        assert f'id="{section}"' in page


@pytest.mark.parametrize("address", ["/", "/units", "/trials", "/curves", "/costs", "/compare", "/listen"])
def test_the_first_steps_are_the_same_everywhere(client: TestClient, address: str):
    page = client.get(address).text
    assert "First steps" in page
    steps = page.split('class="first-steps"')[1].split("</ol>")[0]
    assert re.findall(r'href="([^"]+)"', steps) == [*STEPS, "/trials/add"]


def test_the_kind_of_a_run_goes_from_the_link_to_the_preview(client: TestClient, small_bench: SmallBench, make_log):
    assert "For an empty-room run." in client.get("/trials/add?kind=empty+room").text
    assert client.get("/trials/add?kind=party").status_code == 422
    sent = client.post("/trials/add", data={"kind": "empty room"}, files={"log": ("empty.csv", make_log(), "text/csv")})
    assert '<option value="empty room" selected>' in client.get(sent.headers["location"]).text


def test_the_first_tariff_is_used_without_asking_again(client: TestClient, store: Engine):
    def enter(region: str, currency: str) -> None:
        data = {"region": region, "currency": currency, "price_per_kwh": "0.3", "valid_from": "2026-01-01"}
        assert client.post("/tariffs", data=data | {"tariff_source": "bill", "standing": "own bill"}).status_code == 303

    def used() -> int | None:
        with session_scope(store, writes=False) as session:
            return bench_choices(session).tariff_id

    enter("abroad", "EUR")
    assert used() is None  # the bench counts in another currency
    enter("here", "USD")
    assert used() == 2
    enter("elsewhere", "USD")
    assert used() == 2
