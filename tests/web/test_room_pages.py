"""Rooms, loggers and smoke sources through their forms."""

import pytest
from fastapi.testclient import TestClient

from tests.conftest import SmallBench


def test_an_empty_bench_says_what_to_do_first(client: TestClient):
    assert "Add a room" in client.get("/rooms").text
    assert "Add a logger" in client.get("/loggers").text
    assert "Add a smoke source" in client.get("/smoke-sources").text


def test_a_room_is_added_by_its_sides(client: TestClient):
    answer = client.post(
        "/rooms/add", data={"room": "Studio", "length_m": "4", "width_m": "3,5", "height_m": "2.5", "who": "Ada"}
    )
    assert answer.status_code == 303
    assert answer.headers["location"] == "/rooms"
    page = client.get("/rooms").text
    assert "Studio" in page
    assert "35.0" in page
    assert "4.00 × 3.50 × 2.50" in page


def test_what_was_typed_stays_and_the_message_stands_by_its_field(client: TestClient):
    answer = client.post(
        "/rooms/add", data={"room": "Attic", "length_m": "wide", "width_m": "1,200", "furniture": "<b>rug</b>"}
    )
    assert answer.status_code == 422
    assert 'value="Attic"' in answer.text
    assert 'value="wide"' in answer.text
    assert "&lt;b&gt;rug&lt;/b&gt;" in answer.text
    assert 'id="length_m-error">The length: found &#39;wide&#39;; enter a number such as 12.5.' in answer.text
    assert 'id="width_m-error">The width: &#39;1,200&#39; is ambiguous.' in answer.text
    assert "Nothing was saved" in answer.text
    assert "Attic" not in client.get("/rooms").text


@pytest.mark.parametrize(
    ("typed", "field", "message"),
    [
        ({"room": ""}, "room", "The room name is empty. Enter at least one letter."),
        ({"room": "R"}, "room_volume_m3", "has no volume and 0 of 3 dimensions"),
        ({"room": "R", "room_volume_m3": "-3"}, "room_volume_m3", "The volume is -3 m³; it must be above zero."),
        ({"room": "room a", "room_volume_m3": "30"}, "room", "already exists"),
    ],
)
def test_a_room_that_cannot_be_is_refused_by_its_field(
    client: TestClient, small_bench: SmallBench, typed: dict[str, str], field: str, message: str
):
    answer = client.post("/rooms/add", data=typed)
    assert answer.status_code == 422
    said = answer.text.split(f'id="{field}-error">')[1].split("</p>")[0]
    assert message in said.replace("&#39;", "'")


def test_a_changed_room_keeps_who_why_and_what_it_was(client: TestClient, small_bench: SmallBench):
    address = f"/rooms/{small_bench.room_id}/edit"
    page = client.get(address).text
    assert 'name="length_m" type="text" value="4"' in page
    assert 'name="room_volume_m3" type="text" value=""' in page  # follows from the sides
    answer = client.post(
        address,
        data={
            "room": "Room A",
            "room_volume_m3": "28.5",
            "room_volume_uncertainty_m3": "0.4",
            "who": "Ada",
            "why": "cupboard counted",
        },
    )
    assert answer.status_code == 303, answer.text
    page = client.get(address).text
    assert "cupboard counted" in page
    assert "the volume [m³] was changed" in page
    assert '<td class="words">30</td><td class="words">28.5</td>' in page


def test_a_room_that_is_not_there_is_a_404_page(client: TestClient):
    answer = client.get("/rooms/99/edit")
    assert answer.status_code == 404
    assert "There is no room 99 in this bench." in answer.text


def test_a_logger_is_added_and_changed(client: TestClient):
    added = client.post("/loggers/add", data={"logger": "Desk sensor", "saturation_level_ug_m3": "1000", "who": "Ada"})
    assert added.status_code == 303
    assert "Desk sensor" in client.get("/loggers").text
    assert 'value="1000"' in client.get("/loggers/1/edit").text
    changed = client.post("/loggers/1/edit", data={"logger": "Desk sensor", "principle": "laser scattering"})
    assert changed.status_code == 303
    assert "laser scattering" in client.get("/loggers").text


def test_a_logger_without_a_name_or_with_a_wrong_number_is_refused(client: TestClient):
    answer = client.post("/loggers/add", data={"logger": "", "response_time_s": "soon"})
    assert answer.status_code == 422
    assert 'id="logger-error">The logger name is empty' in answer.text
    assert 'id="response_time_s-error">The response time: found' in answer.text
    answer = client.post("/loggers/add", data={"logger": "A", "response_time_s": "-1"})
    assert "The response time is -1 s; it must be zero or above." in answer.text


def test_a_smoke_source_is_added_and_cautions_stand_beside_the_form(client: TestClient):
    page = client.get("/smoke-sources/add").text
    assert "carbon monoxide" in page
    assert "ask a doctor" in page
    added = client.post("/smoke-sources/add", data={"smoke_source": "pine incense", "aerosol": "smoke"})
    assert added.status_code == 303
    assert "pine incense" in client.get("/smoke-sources").text
    again = client.post("/smoke-sources/add", data={"smoke_source": "Pine incense", "aerosol": "smoke"})
    assert again.status_code == 422
    assert 'id="smoke_source-error">A smoke source &#39;Pine incense&#39; already exists.' in again.text
    wrong = client.post("/smoke-sources/add", data={"smoke_source": "x", "aerosol": "fog"})
    assert "choose one of: smoke, dust, pollen" in wrong.text


def test_a_smoke_source_is_changed(client: TestClient, small_bench: SmallBench):
    address = f"/smoke-sources/{small_bench.smoke_source_id}/edit"
    changed = client.post(address, data={"smoke_source": "test dust", "aerosol": "dust", "who": "Ada"})
    assert changed.status_code == 303
    page = client.get(address).text
    assert "the aerosol was changed" in page
    assert 'value="test dust"' in page
