"""Downloads over HTTP: charts as one file and as text, tables, and a publication's branding in them."""

import csv
import json
from io import StringIO
from xml.etree import ElementTree

import pytest
from fastapi.testclient import TestClient

from app.web.downloads.chart_registry import NAMED_CHARTS
from app.web.pages.downloads.table_registry import NAMED_TABLES
from tests.web.pages.bench.test_pages import FILLED
from tests.web.tried_bench import TriedBench

CHART_QUERY = {"trial-decay": "trial=3", "residuals": "trial=3", "price-history": "unit=1", "claims-measured": "unit=1"}
CHART_QUERY |= dict.fromkeys(("room-control", "room-ewma"), "room=1")
TABLE_QUERY = {"comparison": "unit_id=1,2", "fact-sheet": "unit=1"}
LOOK = {
    "publication": "The Weekly Post",
    "publication_font": "DejaVu Serif",
    "publication_ink": "#102030",
    "publication_accent": "#7A1F3D",
}


# charts of loggers and of size bins, which tests/web/pages/logger_checks and trials/test_rates_by_size.py look at
OF_CHECKS = {"logger-scatter", "logger-difference", "logger-record", "rates-by-size"}


@pytest.fixture(autouse=True)
def _bench(tried_bench: TriedBench) -> None:
    """Something to take."""


@pytest.mark.parametrize("name", sorted(NAMED_CHARTS.keys() - OF_CHECKS))
def test_every_chart_comes_as_one_file_and_as_words(client: TestClient, name: str):
    query = CHART_QUERY.get(name, "")
    page = client.get(f"/charts/{name}.html?{query}")
    assert page.status_code == 200
    assert page.headers["content-disposition"] == f'attachment; filename="{name}.html"'
    assert "<script" not in page.text
    assert len(page.content) <= 150_000
    words = client.get(f"/charts/{name}.txt?{query}").text
    finding, source = words.strip().split("\n\n")
    assert finding == client.get(f"/figures/{name}.json?{query}").json()["meta"]["alt_text"]
    assert "Method version" in source


def test_the_day_on_a_picture_is_that_of_the_newest_datum(client: TestClient):
    """All trials of this bench are of one day, which is not today."""
    assert "Latest data: 2026-03-02." in client.get("/charts/ranking.txt").text
    assert "Latest data: 2026-03-02." in client.get("/charts/decay-overlay.txt").text


def test_every_page_with_a_chart_has_its_panel(client: TestClient):
    for path, names in {
        "/ranking/pictures": ("ranking", "clearing-times"),
        "/": ("ranking", "clearing-times"),
        "/curves": ("decay-overlay",),
        "/costs": ("cost-bars", "cost-over-years"),
        "/compare?unit_id=1,2": ("decay-overlay",),
        "/units/1": ("decay-overlay",),
        "/trials/3": ("trial-decay",),
    }.items():
        page = client.get(path).text
        for name in names:
            for kind in ("svg", "png", "html", "csv", "txt"):
                assert f'href="/charts/{name}.{kind}' in page, (path, name, kind)
            assert f'action="/charts/{name}.png"' in page


def test_every_page_with_a_table_to_take_has_its_panel(client: TestClient):
    for path, name in {
        "/?search=model": "ranking",
        "/compare?unit_id=1,2": "comparison",
        "/units/1": "fact-sheet",
        "/costs": "running-cost",
    }.items():
        page = client.get(path).text
        for kind in ("html", "md", "csv", "xlsx"):
            address = page.split(f'href="/tables/{name}.{kind}')[1].split('"')[0].replace("&amp;", "&")
            assert client.get(f"/tables/{name}.{kind}{address}").status_code == 200


@pytest.mark.parametrize("name", NAMED_TABLES)
@pytest.mark.parametrize("kind", ["html", "md", "csv", "xlsx"])
def test_a_table_is_not_sent_twice(client: TestClient, name: str, kind: str):
    address = f"/tables/{name}.{kind}?{TABLE_QUERY.get(name, '')}"
    first = client.get(address)
    assert first.status_code == 200, first.text
    assert first.content == client.get(address).content
    unchanged = client.get(address, headers={"If-None-Match": first.headers["etag"]})
    assert (unchanged.status_code, unchanged.content) == (304, b"")


def test_the_ranking_s_table_equals_the_api(client: TestClient):
    """The table rounds by the uncertainty, so half a unit of its last digit is allowed."""
    rows = list(csv.DictReader(StringIO(client.get("/tables/ranking.csv").text, newline="")))
    lines = client.get("/api/ranking").json()["ranking"]
    assert [row["unit"] for row in rows] == [f"{line['maker']} {line['model']}" for line in lines]
    strong = lines[0]["clean_air_delivery_rate_m3_per_h"]
    for column, part in (("", "value"), ("_low_95", "low_95"), ("_high_95", "high_95")):
        shown = rows[0][f"clean_air_delivery_rate_m3_per_h{column}"]
        last_digit = 10 ** -len(shown.partition(".")[2])
        assert float(shown) == pytest.approx(strong[part], abs=0.51 * last_digit)
    assert rows[1]["clean_air_delivery_rate_m3_per_h_bound"] == "at most"


def test_tables_follow_the_units_of_the_address(client: TestClient):
    assert "clean_air_delivery_rate_cfm" in client.get("/tables/ranking.csv?units=us").text.splitlines()[0]
    assert "Untried" not in client.get("/tables/ranking.md?search=lamp").text


def test_the_fact_sheet_names_the_trials_of_each_rate(client: TestClient):
    sheet = client.get("/tables/fact-sheet.html?unit=1").text
    root = ElementTree.fromstring(sheet)
    rate = next(row for row in root.iter("tr") if row[0].text == "Clean air delivery rate")
    assert rate[-1].text == "trials 3 and 4"


@pytest.mark.parametrize(
    ("address", "status", "message"),
    [
        ("/tables/beauty.csv", 404, "There is no table beauty in this bench."),
        ("/tables/fact-sheet.csv", 422, "This table needs a unit; add ?unit= and its number to the URL."),
        ("/tables/fact-sheet.csv?unit=99", 404, "There is no unit under test 99 in this bench."),
        ("/tables/comparison.csv?unit_id=1", 422, "1 settings were selected; a comparison takes 2 to 8."),
        ("/tables/ranking.csv?max_price=cheap", 422, "found 'cheap'; enter a number such as 12.5."),
        ("/units/99/draft.md", 404, "There is no unit under test 99 in this bench."),
    ],
)
def test_what_cannot_be_taken_is_told(client: TestClient, address: str, status: int, message: str):
    answer = client.get(address)
    assert answer.status_code == status
    assert message in answer.text.replace("&#39;", "'")


def test_the_addresses_stand_in_the_schema_with_their_parameters(client: TestClient):
    paths = client.get("/api/openapi.json").json()["paths"]
    chart = paths["/charts/{name}.{chart_format}"]["get"]
    by_name = {parameter["name"]: parameter for parameter in chart["parameters"]}
    assert by_name["name"]["schema"]["enum"] == list(NAMED_CHARTS)
    assert {"width_px", "fineness", "unit", "trial", "clip", "channel"} <= set(by_name)
    assert set(chart["responses"]) >= {"200", "304", "404", "422"}
    assert set(chart["responses"]["200"]["content"]) == {
        "image/svg+xml",
        "image/png",
        "image/gif",
        "video/mp4",
        "video/webm",
        "text/csv",
        "text/html",
        "text/plain",
    }
    assert "/tables/{name}.{table_format}" in paths
    assert "/units/{unit_id}/draft.{draft_format}" in paths


def test_the_look_of_a_publication_is_set_once_and_shows_in_every_file(client: TestClient):
    plain = client.get("/charts/ranking.svg").content
    assert client.post("/bench", data=FILLED | LOOK).status_code == 303
    styled = client.get("/charts/ranking.svg").content
    assert plain != styled
    assert b"#102030" in styled
    assert b"#7a1f3d" in styled
    assert b"The Weekly Post" in styled  # matplotlib keeps the words of an outline in a comment
    assert "DejaVu Serif" in client.get("/charts/ranking.html").text
    assert "#7a1f3d" in json.dumps(client.get("/figures/ranking.json").json())
    form = client.get("/bench").text
    assert 'value="The Weekly Post"' in form
    assert 'value="#7a1f3d"' in form


@pytest.mark.parametrize(
    ("changed", "field", "message"),
    [
        ({"publication_ink": "red"}, "publication_ink", "The ink is 'red'; enter a colour such as #1c1f26."),
        ({"publication_ink": "#999999"}, "publication_ink", "has a contrast of 2.8 to 1 on white; it needs 4.5 to 1"),
        (
            {"publication_accent": "#ffff00"},
            "publication_accent",
            "it needs 3 to 1 to be readable. Choose a darker colour.",
        ),
        ({"publication_font": "x;}body{"}, "publication_font", "enter the name of one font family"),
        ({"publication": "x" * 61}, "publication", "has 61 characters; at most 60 are allowed"),
    ],
)
def test_a_look_that_cannot_be_is_refused(client: TestClient, changed: dict[str, str], field: str, message: str):
    answer = client.post("/bench", data=FILLED | LOOK | changed)
    assert answer.status_code == 422
    assert message in answer.text.split(f'id="{field}-error">')[1].split("</p>")[0].replace("&#39;", "'")
