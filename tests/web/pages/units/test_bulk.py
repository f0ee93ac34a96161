import pytest
from sqlalchemy import select

from app.storage.engine import session_scope
from app.storage.models.units_under_test import Price, UnitUnderTest

UNITS = "maker,model,kind,colour\nMaker C,Alpha,mechanical filter,white\nMaker C,Beta,ioniser,red\n"


def send(client, text, **fields):
    return client.post("/bulk", data=fields, files={"table": ("units.csv", text.encode(), "text/csv")})


def token_of(page):
    return page.text.split('action="/bulk/')[1].split('"')[0]


def models(store):
    with session_scope(store) as session:
        return sorted(session.scalars(select(UnitUnderTest.model)))


def test_the_page_lists_every_kind_and_its_columns(client):
    page = client.get("/bulk").text
    assert "Third-party ratings" in page
    assert 'href="/bulk/claims.csv"' in page
    assert "<code>life_running_hours</code>" in page


def test_an_empty_table_holds_the_headers(client):
    answer = client.get("/bulk/prices.csv")
    assert answer.text == "maker,model,price,currency,seen_on,source\r\n"
    assert "attachment" in answer.headers["content-disposition"]
    assert client.get("/bulk/cars.csv").status_code == 404


def test_a_table_is_previewed_then_stored(client, store):
    page = send(client, UNITS)
    assert page.status_code == 200
    assert "2 rows will be saved. Nothing is saved yet." in page.text
    assert "adds the unit Maker C Alpha" in page.text
    assert "columns not recognised: colour" in page.text
    assert models(store) == []
    answer = client.post(f"/bulk/{token_of(page)}", data={"kind": "units", "who": "Ada"})
    assert answer.status_code == 303
    assert models(store) == ["Alpha", "Beta"]
    assert "Units under test: 2 rows saved." in client.get(answer.headers["location"]).text


def test_a_refused_line_holds_the_rest_back_until_it_is_left_out(client, store, small_bench):
    text = "maker,model,price,currency,seen_on,source\nMaker A,Model 1,9,USD,2026-01-01,shop\n"
    text += "Maker Z,Gone,9,USD,2026-01-01,shop\n"
    page = send(client, text)
    assert "1 row will be saved, 1 rejected." in page.text
    assert "Maker Z Gone does not exist" in page.text
    token = token_of(page)
    refused = client.post(f"/bulk/{token}", data={"kind": "prices"})
    assert refused.status_code == 422
    assert "1 of 2 rows are rejected, the first in line 3" in refused.text
    with session_scope(store) as session:
        assert len(session.scalars(select(Price)).all()) == 1
    answer = client.post(f"/bulk/{token}", data={"kind": "prices", "leave_out": "1"})
    assert answer.status_code == 303
    assert "1 row saved, 1 rejected and skipped." in client.get(answer.headers["location"]).text
    with session_scope(store) as session:
        assert len(session.scalars(select(Price)).all()) == 2


def test_what_is_stored_already_is_left_out(client, store):
    token = token_of(send(client, UNITS))
    client.post(f"/bulk/{token}", data={"kind": "units"})
    page = send(client, UNITS)
    assert "0 rows will be saved, 2 already saved and skipped." in page.text
    assert "Store 0" not in page.text


def test_a_table_can_be_turned_down_and_is_then_gone(client, store):
    token = token_of(send(client, UNITS))
    assert client.post(f"/bulk/{token}", data={"turn_down": "1"}).headers["location"] == "/bulk"
    again = client.post(f"/bulk/{token}", data={"kind": "units"})
    assert again.status_code == 404
    assert "This upload has expired or was already saved. Upload the table" in again.text
    assert models(store) == []


@pytest.mark.parametrize(
    ("text", "fields", "message"),
    [
        ("a,b\n1,2\n", {}, "they do not match any table type"),
        ("maker,b\n1,2\n", {"kind": "units"}, "units.csv, line 1: the column model is missing"),
        ("maker,model\n", {"kind": "cars"}, "The table type is &#39;cars&#39;"),
        (" ", {}, "units.csv"),
        ("%PDF-1.7 nothing", {}, "a PDF document"),
    ],
)
def test_what_is_no_table_is_refused(client, text, fields, message):
    answer = send(client, text, **fields)
    assert answer.status_code == 422
    assert message in answer.text


def test_no_file_is_told(client):
    assert "No file selected. Choose a CSV or XLSX table." in client.post("/bulk", data={}).text


def test_cells_stay_words(client):
    page = send(client, "maker,model\n<script>x</script>,<b>y</b>\n")
    assert "<script>x" not in page.text
    assert "&lt;script&gt;x" in page.text


def test_a_forged_count_in_the_address_says_nothing(client):
    assert "saved" not in client.get("/bulk?kind=units&added=lots").text.split("Upload a CSV")[0]
    assert "saved." not in client.get("/bulk?kind=cars&added=5").text.split("Upload a CSV")[0]
