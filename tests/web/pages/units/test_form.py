"""Units under test through their form."""

import pytest
from fastapi.testclient import TestClient

from tests.conftest import SmallBench


def message_by(page: str, field: str) -> str:
    """The message beside a field of a page."""
    return page.split(f'id="{field}-error">')[1].split("</p>")[0].replace("&#39;", "'")


FILLED = {
    "maker": "Maker B",
    "model": "Model 2",
    "kind_of_cleaning": "electrostatic",
    "makes_ozone": "1",
    "mass_kg": "5,5",
    "new_settings": "low\n\nhigh\n",
    "price": "149.50",
    "currency": "eur",
    "price_seen_on": "2026-02-03",
    "price_source": "price list",
    "consumable": "collector plate",
    "consumable_kind": "washable part",
    "washable": "1",
    "pieces_in_use": "2",
    "pack_size": "1",
    "life_months": "24",
    "consumable_price": "19",
    "consumable_currency": "EUR",
    "consumable_price_seen_on": "2026-02-03",
    "consumable_price_source": "price list",
    "who": "Ada",
}


def test_a_unit_is_added_with_everything_in_one_form(client: TestClient):
    answer = client.post("/units/add", data=FILLED)
    assert answer.status_code == 303, answer.text
    assert answer.headers["location"] == "/units/1"
    unit = client.get("/api/units/1").json()
    assert (unit["maker"], unit["kind"], unit["mass_kg"], unit["makes_ozone"]) == (
        "Maker B",
        "electrostatic",
        5.5,
        True,
    )
    assert [(s["name"], s["is_highest"]) for s in unit["settings"]] == [("low", False), ("high", True)]
    assert unit["prices"][0]["currency"] == "EUR"
    part = unit["consumables"][0]
    assert (part["name"], part["washable"], part["pieces_in_use"], part["life_months"]) == (
        "collector plate",
        True,
        2,
        24,
    )
    assert part["prices"][0]["amount"] == 19.0
    assert unit["consumables_state"] == "listed"


def test_maker_and_model_are_enough(client: TestClient):
    assert client.post("/units/add", data={"maker": "M", "model": "1"}).status_code == 303
    assert client.get("/api/units/1").json()["consumables_state"] == "unknown"


@pytest.mark.parametrize(
    ("changed", "field", "message"),
    [
        ({"maker": " "}, "maker", "The maker is empty. Enter at least one letter."),
        ({"mass_kg": "heavy"}, "mass_kg", "The mass: found 'heavy'; enter a number such as 12.5."),
        ({"price": "-1"}, "price", "The price is -1 eur; it must be zero or above."),
        ({"currency": "euro"}, "currency", "enter three letters such as USD or EUR"),
        ({"price_seen_on": "3.2.2026"}, "price_seen_on", "enter a date such as 2026-03-31"),
        ({"price_seen_on": ""}, "price_seen_on", "The price has no date"),
        ({"pack_size": "2.5"}, "pack_size", "enter a whole number"),
        ({"new_settings": "low\nLOW"}, "new_settings", ""),
        ({"kind_of_cleaning": "magic"}, "kind_of_cleaning", "choose one of: mechanical filter"),
    ],
)
def test_a_mistake_in_any_section_stores_nothing_and_keeps_the_rest(
    client: TestClient, changed: dict[str, str], field: str, message: str
):
    answer = client.post("/units/add", data=FILLED | changed)
    assert answer.status_code == 422
    assert message in message_by(answer.text, field)
    assert 'value="price list"' in answer.text
    assert client.get("/api/units").json()["units"] == []


def test_a_pack_price_without_a_part_is_refused(client: TestClient):
    answer = client.post("/units/add", data={"maker": "M", "model": "1", "consumable_price": "9"})
    assert answer.status_code == 422
    assert "A pack price was entered without a consumable; choose or name one." in answer.text
    assert client.get("/api/units").json()["units"] == []


def test_a_second_unit_of_the_same_name_is_refused(client: TestClient, small_bench: SmallBench):
    answer = client.post("/units/add", data={"maker": "Maker A", "model": "model 1"})
    assert answer.status_code == 422
    assert "already exists as unit 1" in message_by(answer.text, "model")


def test_a_unit_is_changed_and_the_old_value_stays_on_record(client: TestClient, small_bench: SmallBench):
    address = f"/units/{small_bench.unit_id}/edit"
    page = client.get(address).text
    assert 'value="Maker A"' in page
    assert f'name="setting_{small_bench.low_setting_id}" type="text" value="low"' in page
    answer = client.post(
        address,
        data={
            "maker": "Maker A",
            "model": "Model 1",
            "kind_of_cleaning": "mechanical filter",
            "mass_kg": "4",
            f"setting_{small_bench.low_setting_id}": "quiet",
            f"setting_{small_bench.high_setting_id}": "high",
            "new_settings": "turbo",
            "highest_setting": "last",
            "none_needed": "1",
            "who": "Ada",
            "why": "manual read",
        },
    )
    assert answer.status_code == 303, answer.text
    unit = client.get(f"/api/units/{small_bench.unit_id}").json()
    assert [(s["name"], s["is_highest"]) for s in unit["settings"]] == [
        ("quiet", False),
        ("high", False),
        ("turbo", True),
    ]
    assert unit["consumables_state"] == "none needed"
    page = client.get(address).text
    assert "the mass [kg] was changed" in page
    assert "manual read" in page
    assert '<td class="words">high</td><td class="words">turbo</td>' in page


def test_the_line_ends_of_a_browser_change_no_text(client: TestClient, small_bench: SmallBench):
    """A script sent LF; a browser sends CR LF (WHATWG HTML, multipart form data and URL encoding, from memory)."""
    address = f"/units/{small_bench.unit_id}"
    assert client.patch(f"/api{address}", json={"notes": "two\nlines", "who": "Ann"}).status_code == 200
    form = {
        "maker": "Maker A",
        "model": "Model 1",
        "kind_of_cleaning": "mechanical filter",
        f"setting_{small_bench.low_setting_id}": "low",
        f"setting_{small_bench.high_setting_id}": "high",
        "unit_notes": "two\r\nlines",
        "who": "Ada",
    }
    assert client.post(f"{address}/edit", data=form).status_code == 303
    assert client.get(f"/api{address}").json()["notes"] == "two\nlines"
    assert client.get(f"{address}/edit").text.count("the notes were changed") == 1


def test_none_needed_is_taken_back_with_its_tick(client: TestClient, small_bench: SmallBench):
    address, facts = (
        f"/units/{small_bench.unit_id}/edit",
        {"maker": "Maker A", "model": "Model 1", "kind_of_cleaning": "other"},
    )
    assert client.post(address, data=facts | {"none_needed": "1"}).status_code == 303
    assert 'name="none_needed" type="checkbox" value="1" checked' in client.get(address).text
    assert client.post(address, data=facts).status_code == 303
    assert client.get(f"/api/units/{small_bench.unit_id}").json()["consumables_state"] == "unknown"


def test_a_setting_cannot_take_the_name_of_another(client: TestClient, small_bench: SmallBench):
    answer = client.post(
        f"/units/{small_bench.unit_id}/edit",
        data={
            "maker": "Maker A",
            "model": "Model 1",
            "kind_of_cleaning": "other",
            f"setting_{small_bench.low_setting_id}": "HIGH",
        },
    )
    assert answer.status_code == 422
    message = message_by(answer.text, f"setting_{small_bench.low_setting_id}")
    assert message == "The unit already has a setting 'HIGH'. Give this one another name."


def test_names_are_shown_as_text_never_as_markup(client: TestClient):
    client.post("/units/add", data={"maker": "<script>alert(1)</script>", "model": '"><img src=x>'})
    page = client.get("/units/1/edit").text
    assert "<script>alert" not in page
    assert "<img src=x>" not in page
