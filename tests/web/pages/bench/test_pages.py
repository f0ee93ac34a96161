"""The bench's choices, and the history."""

import pytest
from fastapi.testclient import TestClient
from sqlalchemy import Engine

from app.services.bench.definitions import BenchChoices
from app.services.store.audit import record_change
from app.storage.engine import session_scope
from tests.conftest import SmallBench

FILLED = {
    "name": "Test desk",
    "timezone": "Europe/Berlin",
    "currency": "EUR",
    "clear_level_kind": "absolute",
    "clear_level_value": "12",
    "standard_distance_m": "2",
    "sound_correction_rule": "ISO 3744",
    "natural_decay_stale_after_days": "90",
    "hours_per_day": "8",
    "days_per_year": "300",
    "main_channel": "pm2_5",
    "who": "Ada",
    "why": "new guideline",
}


def test_the_form_shows_what_the_bench_has(client: TestClient):
    page = client.get("/bench").text
    assert f'value="{BenchChoices().clear_level_value:g}"' in page
    assert '<option value="ISO 3746" selected>' in page


def test_choices_are_stored_with_a_record_of_each(client: TestClient):
    answer = client.post("/bench", data=FILLED)
    assert answer.status_code == 303, answer.text
    page = client.get("/bench").text
    assert 'value="12"' in page
    assert "Test desk" in page
    assert "the clear level was changed" in page
    assert "new guideline" in page
    assert "the hours of use per day [h] were changed" in client.get("/changes").text


@pytest.mark.parametrize(
    ("changed", "field", "message"),
    [
        ({"clear_level_value": ""}, "clear_level_value", "The clear level is missing. Enter a number"),
        ({"clear_level_value": "0"}, "clear_level_value", "The clear level is 0; it must be a number above zero."),
        ({"clear_level_value": "1e-320"}, "clear_level_value", "; enter at least 0.000001."),
        ({"clear_level_kind": "share_of_start"}, "clear_level_value", "enter a fraction above 0 and below 1"),
        ({"timezone": "Mars/Crater"}, "timezone", "enter a name such as UTC or Europe/Berlin"),
        ({"timezone": "../etc/passwd"}, "timezone", "enter a name such as UTC or Europe/Berlin"),
        ({"hours_per_day": "25"}, "hours_per_day", "The use per day is 25 h; enter a number from 0 to 24 h."),
        ({"days_per_year": "400"}, "days_per_year", "The use per year is 400 days; enter a number from 0 to 366 days."),
        (
            {"natural_decay_stale_after_days": "0"},
            "natural_decay_stale_after_days",
            "enter a whole number above zero",
        ),
        ({"sound_correction_rule": "guess"}, "sound_correction_rule", "choose one of: ISO 3744"),
        ({"standard_distance_m": "0"}, "standard_distance_m", "enter a number from 0.01 to 100 m"),
        ({"currency": "euros"}, "currency", "enter three letters"),
    ],
)
def test_a_choice_that_cannot_be_is_refused_and_nothing_changes(
    client: TestClient, changed: dict[str, str], field: str, message: str
):
    answer = client.post("/bench", data=FILLED | changed)
    assert answer.status_code == 422
    said = answer.text.split(f'id="{field}-error">')[1].split("</p>")[0].replace("&#39;", "'")
    assert message in said
    assert 'value="Test desk"' in answer.text
    assert "No changes so far" in client.get("/changes").text


def test_changes_lead_to_the_thing_and_can_be_narrowed(client: TestClient, small_bench: SmallBench):
    client.patch(f"/api/units/{small_bench.unit_id}", json={"mass_kg": 3.0, "who": "<i>Ada</i>"})
    client.post("/bench", data=FILLED)
    page = client.get("/changes").text
    assert f'<a href="/units/{small_bench.unit_id}">Maker A Model 1</a>' in page
    assert "&lt;i&gt;Ada&lt;/i&gt;" in page
    narrowed = client.get("/changes?subject=bench").text
    assert "mass [kg]" not in narrowed
    assert "hours of use per day" in narrowed


def test_older_changes_are_a_page_further(client: TestClient, small_bench: SmallBench, store: Engine):
    with session_scope(store) as session:
        unit = "unit under test", small_bench.unit_id
        for number in range(1, 105):
            record_change(session, "Ann", "changed", *unit, "mass_kg", before=number - 1, after=number)
    page = client.get("/changes").text
    older = page.split('rel="next" href="')[1].split('"')[0].replace("&amp;", "&")
    further = client.get(older).text
    assert '<td class="words">3</td><td class="words">4</td>' not in page
    assert '<td class="words">3</td><td class="words">4</td>' in further
    assert "Newest changes" in further
    assert client.get("/changes?cursor=x").status_code == 422
