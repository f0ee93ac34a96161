"""Hostile names (markup, script, formulas, bidirectional marks) remain plain text everywhere.

One bench gets such names for its maker, model, setting, room, logger, smoke source and log file; then every page,
figure, chart and table that shows them is read.
"""

import csv
import io
import json
import re
import xml.etree.ElementTree as ET

import pytest
from fastapi.testclient import TestClient
from openpyxl import load_workbook
from sqlalchemy import Engine, update

from app.hidden_marks import holds_control_characters, holds_hidden_marks
from app.storage.engine import session_scope
from app.storage.models.loggers import Logger, SmokeSource
from app.storage.models.rooms import Room
from app.storage.models.trials import Trial
from app.storage.models.units_under_test import SpeedSetting, UnitUnderTest
from tests.conftest import decay_log
from tests.web.page_checks import faults_of
from tests.web.tried_bench import TriedBench

MARKUP = "<img src=x onerror=alert(1)>\"'><script>alert(2)</script>"
FORMULA = "=cmd|' /C calc'!A0"
CLOSING = "</script></style></title></svg><svg onload=alert(3)>"
REVERSED = "Model\u202egnp.exe\u202c\u2066x\u2069"
LONG = "W" * 200
CONTROL = "Model\x1b[31m\x01\x0b\uffff"
HOSTILE = (MARKUP, FORMULA, CLOSING, REVERSED, LONG)

PAGES = [
    "/",
    "/?setting=every",
    "/ranking/pictures",
    "/ranking/order",
    "/ranking/weights",
    "/compare?unit_id=1,2",
    "/curves?unit=1&unit=2",
    "/costs",
    "/room",
    "/listen",
    "/units",
    "/units/1",
    "/units/1/edit",
    "/units/1/sound",
    "/units/1/power",
    "/units/1/claims",
    "/units/1/draft",
    "/trials",
    "/trials/3",
    "/trials/3/edit",
    "/trials/3/marks",
    "/trials/add",
    "/rooms",
    "/rooms/1/edit",
    "/loggers",
    "/smoke-sources",
    "/smoke-sources/1/edit",
    "/changes",
    "/bench",
    "/units?search=%3Cscript%3Ealert(9)%3C/script%3E",
    "/no-such-page/%3Cscript%3Ealert(9)%3C/script%3E",
]
FIGURES = [
    "/figures/ranking.json",
    "/figures/decay-overlay.json?unit=1,2",
    "/figures/cost-bars.json",
    "/trials/3/figure.json",
]
CHARTS = ["ranking", "decay-overlay", "cost-bars", "clearing-times", "price-history"]
TABLES = ["ranking", "fact-sheet", "comparison", "running-cost"]


@pytest.fixture(params=HOSTILE, ids=["markup", "formula", "closing", "reversed", "long"])
def name(request: pytest.FixtureRequest, tried_bench: TriedBench, store: Engine) -> str:
    """The hostile name, which everything on the tried bench now has."""
    hostile = request.param
    with session_scope(store) as session:
        session.execute(update(UnitUnderTest).where(UnitUnderTest.id == 1).values(maker=hostile, model=hostile))
        session.execute(update(UnitUnderTest).where(UnitUnderTest.id == 2).values(model=hostile))
        session.execute(update(SpeedSetting).where(SpeedSetting.is_highest == True).values(name=hostile))  # noqa: E712  # a column
        session.execute(update(Room).values(name=hostile, furniture=hostile, notes=hostile))
        session.execute(update(Logger).values(name=hostile))
        session.execute(update(SmokeSource).values(name=hostile))
        session.execute(update(Trial).values(tested_by=hostile, notes=hostile, filter_state=hostile))
    return hostile


def test_pages_hold_the_name_as_words(client: TestClient, name: str, subtests):
    for path in PAGES:
        with subtests.test(path=path):
            answer = client.get(path)
            assert answer.status_code in (200, 404), answer.text[:300]
            assert answer.headers["content-type"].startswith("text/html")
            assert "script-src 'self'" in answer.headers["content-security-policy"]
            assert faults_of(answer.text) == []
            _assert_no_markup(answer.text)


def _assert_no_markup(html: str) -> None:
    assert not holds_hidden_marks(html), "a name turns the order in which the text reads"
    for markup in ("<img src=x", 'onerror=alert(1)>"', "<script>alert", "<svg onload", "</script></style>"):
        assert markup not in html


def test_figures_for_the_browser_hold_no_pseudo_markup(client: TestClient, name: str, subtests):
    """Plotly reads a few tags, such as links, in every text it draws."""
    for path in FIGURES:
        with subtests.test(path=path):
            answer = client.get(path)
            assert answer.status_code == 200, answer.text[:300]
            assert answer.headers["content-type"] == "application/json"
            assert answer.headers["x-content-type-options"] == "nosniff"
            figure = json.loads(answer.text)  # its meta is shown as text by our own script, never drawn
            for text in _texts(figure["data"]) + _texts(figure["layout"]):
                _assert_no_markup(text)
                assert not re.search(r"<(?!/?(?:b|i|br|sub|sup|span|em|extra)\b)[a-z/]", text), text[:200]


def _texts(part: object) -> list[str]:
    if isinstance(part, dict):
        return [text for value in part.values() for text in _texts(value)]
    if isinstance(part, list):
        return [text for value in part for text in _texts(value)]
    return [part] if isinstance(part, str) else []


@pytest.mark.parametrize("chart", CHARTS)
def test_charts_as_files_hold_no_active_content(client: TestClient, name: str, chart: str):
    query = {"decay-overlay": "?unit=1,2", "price-history": "?unit=1"}.get(chart, "")
    drawn = client.get(f"/charts/{chart}.svg{query}")
    assert drawn.status_code == 200, drawn.text[:300]
    assert "sandbox" in drawn.headers["content-security-policy"]
    for element in ET.fromstring(drawn.content).iter():
        assert element.tag.rpartition("}")[2] not in ("script", "foreignObject", "a", "img", "iframe")
        assert not [key for key in element.attrib if key.lower().startswith("on")]
    page = client.get(f"/charts/{chart}.html{query}")
    assert "attachment" in page.headers["content-disposition"]
    assert "script-src" not in page.headers["content-security-policy"]
    _assert_no_markup(page.text)
    _assert_no_formula(client.get(f"/charts/{chart}.csv{query}").text)


@pytest.mark.parametrize("table", TABLES)
def test_tables_as_files_hold_no_markup_and_no_formula(client: TestClient, name: str, table: str):
    query = {"fact-sheet": "?unit=1", "comparison": "?unit_id=1,2"}.get(table, "")
    for ending in ("html", "md"):
        answer = client.get(f"/tables/{table}.{ending}{query}")
        assert answer.status_code == 200, answer.text[:300]
        assert "sandbox" in answer.headers["content-security-policy"]
        if ending == "html":
            _assert_no_markup(answer.text)
        else:  # Markdown lets HTML through; a backslash makes its sign a plain one
            assert not re.search(r"(?<!\\)<", answer.text)
    _assert_no_formula(client.get(f"/tables/{table}.csv{query}").text)
    book = load_workbook(io.BytesIO(client.get(f"/tables/{table}.xlsx{query}").content))
    kinds = {cell.data_type for sheet in book for row in sheet.iter_rows() for cell in row}
    assert kinds == {"n", "s"}  # numbers (and empty cells) and texts, no formula


def _assert_no_formula(text: str) -> None:
    assert not holds_hidden_marks(text)
    rows = list(csv.reader(io.StringIO(text)))
    assert len(rows) > 1
    for cell in (cell for row in rows for cell in row):
        assert not cell.startswith(("=", "@", "\t", "\r")), cell
        assert not re.match(r"[+-](?![\d.])", cell), cell


def test_the_raw_file_is_a_download_that_no_browser_shows(client: TestClient, name: str):
    answer = client.get("/api/trials/3/log")
    assert answer.headers["content-type"] == "application/octet-stream"
    assert answer.headers["content-disposition"].startswith("attachment;")
    assert answer.headers["x-content-type-options"] == "nosniff"
    assert "script-src 'self'" not in answer.headers["content-security-policy"]
    assert "sandbox" in answer.headers["content-security-policy"]


def test_an_answer_for_scripts_holds_no_mark_that_turns_its_words(client: TestClient, name: str):
    for path in ("/api/units", "/api/units/1", "/api/trials/3", "/api/rooms", "/api/ranking", "/api/loggers"):
        assert not holds_hidden_marks(client.get(path).text), path


# route, and the fields that hold a name or words
_NAMED_BY_FORM = {
    "/units/add": (
        {"maker": "M", "model": "1", "kind_of_cleaning": "other"},
        ("maker", "model", "serial_number", "new_settings"),
    ),
    "/rooms/add": ({"room": "B", "room_volume_m3": "30"}, ("room", "furniture", "room_notes")),
    "/loggers/add": ({"logger": "L"}, ("logger", "principle", "calibration")),
    "/smoke-sources/add": ({"smoke_source": "s", "aerosol": "smoke"}, ("smoke_source", "smoke_source_notes")),
    "/units/1/edit": ({"maker": "M", "model": "1", "kind_of_cleaning": "other"}, ("maker", "unit_notes", "setting_1")),
    "/trials/3/trash": ({}, ("trash_why",)),
    "/trials/3/exclude": ({}, ("why",)),
    "/tariffs": (
        {"region": "here", "price_per_kwh": "0.2", "currency": "USD", "valid_from": "2026-01-01"},
        ("region", "tariff_source"),
    ),
}


def test_a_name_with_a_mark_that_turns_its_words_is_not_stored(client: TestClient, tried_bench: TriedBench, subtests):
    for path, (fields, names) in _NAMED_BY_FORM.items():
        for field in names:
            with subtests.test(path=path, field=field):
                answer = client.post(path, data=fields | {field: REVERSED})
                assert answer.status_code == 422, answer.headers.get("location")
                assert "contains a hidden character that changes the reading direction" in answer.text
    refused = client.post("/api/units", json={"maker": REVERSED, "model": "1"})
    assert refused.status_code == 422
    assert "contains a hidden character" in refused.text


@pytest.mark.filterwarnings("ignore:Glyph .* missing from font")
def test_a_stored_control_character_breaks_no_page_drawing_or_workbook(
    client: TestClient, tried_bench: TriedBench, store: Engine
):
    """XML cannot hold most of them: one such name would make every drawing that shows it unreadable."""
    with session_scope(store) as session:
        session.execute(update(UnitUnderTest).values(maker=CONTROL))
    for path in ("/", "/units/1", "/charts/ranking.csv", "/tables/ranking.html", "/tables/ranking.md"):
        assert not holds_control_characters(client.get(path).text), path
    for chart in ("ranking", "decay-overlay", "cost-bars"):
        svg = client.get(f"/charts/{chart}.svg", params={"unit": "1"} if chart == "decay-overlay" else {})
        assert "Model?[31m??\ufffd" in svg.text
        assert ET.fromstring(svg.content).tag.endswith("svg")
    book = load_workbook(io.BytesIO(client.get("/tables/ranking.xlsx").content))
    assert "Model\ufffd[31m\ufffd\ufffd\ufffd" in str(list(book.worksheets[0].values))


@pytest.mark.parametrize("control", ["\x01", "\x1b", "\x7f", "\x85", "\uffff"])
def test_a_name_with_a_control_character_is_not_stored(client: TestClient, control: str):
    """XML cannot hold most of them, so that one such name would make every drawing unreadable."""
    refused = client.post("/api/units", json={"maker": f"Maker{control}A", "model": "1"})
    assert refused.status_code == 422
    assert "The maker contains an invisible control character." in refused.json()["detail"]
    assert (
        client.post("/api/units", json={"maker": "A", "model": "1", "notes": "two\r\nlines\tof it"}).status_code == 201
    )


def test_who_and_why_are_recorded_without_such_marks(client: TestClient, tried_bench: TriedBench):
    told = {"who": f"Ada {REVERSED}", "why": "a reason", "notes": "heavier than told"}
    assert client.patch("/api/units/1", json=told).status_code == 200
    history = client.get("/units/1/edit").text.split("History", 1)[1]
    assert "Ada Modelgnp.exex" in history
    assert "�" not in history


def test_channels_and_file_names_of_a_log_lose_such_marks(client: TestClient, tried_bench: TriedBench):
    log = decay_log(6.0, channels=("PM1", "PM2.5", f"Probe {REVERSED}"), seed=77)
    fields = {"kind": "empty room", "room_id": "1"}
    sent = client.post("/api/trials", data=fields, files={"log": (f"{REVERSED}.csv", log, "text/csv")})
    assert sent.status_code == 201, sent.text
    assert "�" not in sent.text
    number = sent.json()["id"]
    assert client.get(f"/api/trials/{number}/log").content == log  # the evidence itself stays byte for byte
    for path in (f"/trials/{number}", f"/trials/{number}/marks"):
        assert "�" not in client.get(path).text
