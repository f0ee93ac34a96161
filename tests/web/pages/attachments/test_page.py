"""Photos and documents on the pages and through the API."""

import re

import pytest
from fastapi.testclient import TestClient

from tests.conftest import SmallBench
from tests.sample_data.api_entries import API_ENTRIES
from tests.sample_data.photos import DOCUMENT, photo
from tests.web.api.test_trials import MakeLog, send, unit_running

PHOTO = photo(place=True)
METER = {"shows": "meter display", "caption": "38 W", "for_readers": "1", "who": "Ann"}


@pytest.fixture
def tried_trial(client: TestClient, small_bench: SmallBench, make_log: MakeLog) -> int:
    return int(send(client, make_log(), **unit_running(small_bench)).json()["id"])


@pytest.fixture
def page(small_bench: SmallBench) -> str:
    return f"/units/{small_bench.unit_id}/attachments"


def test_a_photo_is_added_and_seen_beside_its_measurement(client: TestClient, small_bench: SmallBench, page: str):
    unit = f"/api/units/{small_bench.unit_id}"
    power = client.post(f"{unit}/power-levels", json=API_ENTRIES["power-levels"](small_bench.high_setting_id)).json()
    about = {"about": f"power:{power['id']}"}
    assert client.post(page, data=METER | about, files={"file": ("meter.jpg", PHOTO)}).status_code == 303
    shown = client.get(page).text
    assert "power at high, 38.2" in shown
    assert 'src="/attachments/1/small.jpg" alt="Meter display: 38 W"' in shown
    for other in (f"/units/{small_bench.unit_id}/power", f"/units/{small_bench.unit_id}"):
        assert "/attachments/1/small.jpg" in client.get(other).text
    assert "/attachments/1/small.jpg" not in client.get(f"/units/{small_bench.unit_id}/sound").text


def test_the_original_is_a_download_and_the_picture_holds_nothing_else(client: TestClient, page: str):
    client.post(page, data=METER, files={"file": ("my meter ü.jpg", PHOTO)})
    for address in ("/attachments/1/file", "/api/attachments/1/file"):
        original = client.get(address)
        assert original.content == PHOTO
        assert original.headers["content-disposition"].startswith("attachment")
        assert original.headers["x-content-type-options"] == "nosniff"
    picture = client.get("/attachments/1/large.jpg")
    assert picture.headers["content-type"] == "image/jpeg"
    assert b"Exif" in PHOTO
    assert b"Exif" not in picture.content
    again = client.get("/attachments/1/large.jpg", headers={"If-None-Match": picture.headers["etag"]})
    assert (again.status_code, again.content) == (304, b"")


def test_a_wrong_file_is_refused_and_what_was_typed_is_kept(client: TestClient, page: str):
    answer = client.post(page, data=METER, files={"file": ("notes.txt", b"hello")})
    assert answer.status_code == 422
    assert "notes.txt is neither a photo" in answer.text
    assert 'value="38 W"' in answer.text
    missing = client.post(page, data=METER, files={"file": ("", b"")})
    assert missing.status_code == 422
    assert "No file selected" in missing.text


def test_a_file_is_removed_with_a_reason(client: TestClient, page: str):
    client.post(page, data={"shows": "receipt"}, files={"file": ("a.pdf", DOCUMENT)})
    assert "receipt" in client.get(page).text.lower()
    assert client.post(f"{page}/1/take-back", data={"why": ""}).status_code == 422
    assert client.post(f"{page}/1/take-back", data={"why": "wrong unit"}).status_code == 303
    assert "No photos or documents yet" in client.get(page).text


def test_a_file_is_removed_only_from_what_it_belongs_to(
    client: TestClient, small_bench: SmallBench, tried_trial: int, page: str
):
    """The address of a removal names the unit or the trial; a file of another one stays."""
    client.post(page, data={"shows": "label"}, files={"file": ("label.jpg", PHOTO)})
    trial = f"/trials/{tried_trial}/attachments"
    client.post(trial, data={"shows": "test setup"}, files={"file": ("setup.jpg", photo(place=False))})
    other = client.post("/api/units", json={"maker": "Invented", "model": "Other", "kind": "other"}).json()["id"]
    why = {"why": "wrong address"}
    assert client.post(f"/units/{other}/attachments/1/take-back", data=why).status_code == 422
    assert client.post(f"/units/{other}/attachments/2/take-back", data=why).status_code == 422
    refused = client.post(f"{trial}/1/take-back", data=why)
    assert (refused.status_code, "There is no attachment here 1" in refused.text) == (422, True)
    assert len(client.get(f"/api/units/{small_bench.unit_id}/attachments").json()["attachments"]) == 2
    assert client.post(f"{page}/2/take-back", data=why).status_code == 303  # of a trial of the unit
    assert client.post(f"{page}/1/take-back", data=why).status_code == 303


def test_a_photo_is_chosen_for_readers_and_hidden_again(client: TestClient, page: str):
    client.post(page, data={"shows": "label"}, files={"file": ("label.jpg", PHOTO)})
    client.post(page, data={"shows": "receipt"}, files={"file": ("a.pdf", DOCUMENT)})
    assert client.get(page).text.count("Show to readers") == 1  # not for a document
    assert client.post(f"{page}/1/readers", data={"shown": "1"}).status_code == 303
    assert "Hide from readers" in client.get(page).text
    refused = client.post(f"{page}/2/readers", data={"shown": "1"})
    assert (refused.status_code, "Only photos are shown to readers" in refused.text) == (422, True)
    assert client.post(f"{page}/1/readers", data={}).status_code == 303
    assert "Shown to readers." not in client.get(page).text


def test_the_page_of_a_unit_reads_its_levels_once(client: TestClient, monkeypatch, page: str):
    client.post(page, data={"shows": "label"}, files={"file": ("label.jpg", PHOTO)})
    monkeypatch.setattr("app.web.pages.attachments.page.sound_levels_of_unit", _must_not_read)
    monkeypatch.setattr("app.web.pages.attachments.page.power_levels_of_unit", _must_not_read)
    monkeypatch.setattr("app.web.pages.units.measurements_view.sound_levels_of_unit", _must_not_read)
    assert "/attachments/1/small.jpg" in client.get(page.removesuffix("/attachments")).text


def _must_not_read(*_: object) -> None:
    raise AssertionError("The levels were read a second time.")


def test_a_document_has_no_picture(client: TestClient, page: str):
    client.post(page, data={"shows": "receipt"}, files={"file": ("a.pdf", DOCUMENT)})
    assert client.get("/attachments/1/large.jpg").status_code == 404
    assert client.get("/attachments/1/huge.jpg").status_code == 422
    assert not re.search(r"<img[^>]*attachments/1", client.get(page).text)


def test_the_api_stores_and_lists_files_of_units_and_trials(
    client: TestClient, small_bench: SmallBench, tried_trial: int
):
    unit = f"/api/units/{small_bench.unit_id}/attachments"
    stored = client.post(unit, data={"shows": "label"}, files={"file": ("label.jpg", PHOTO)})
    assert stored.status_code == 201
    assert (stored.json()["kind"], stored.json()["shows"]) == ("photo", "label")
    assert client.post(unit, data={"shows": "label"}, files={"file": ("label.jpg", PHOTO)}).status_code == 409
    trial = f"/api/trials/{tried_trial}/attachments"
    client.post(trial, data={"shows": "test setup"}, files={"file": ("setup.jpg", PHOTO)}).raise_for_status()
    assert [each["shows"] for each in client.get(trial).json()["attachments"]] == ["test setup"]
    assert {each["shows"] for each in client.get(unit).json()["attachments"]} == {"label", "test setup"}
    assert client.get("/api/units/99/attachments").status_code == 404
    assert client.get("/api/trials/99/attachments").status_code == 404
    assert "test setup" in client.get(f"/trials/{tried_trial}/attachments").text.lower()
