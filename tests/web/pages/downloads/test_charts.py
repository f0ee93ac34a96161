"""Charts by name: every one in every format, the same bytes for the same URL, the table equal to the figure."""

import csv
import json
import struct
from datetime import date
from io import StringIO
from xml.etree import ElementTree

import pytest
from fastapi.testclient import TestClient
from sqlalchemy import Engine, update

from app.storage.engine import session_scope
from app.storage.models.units_under_test import UnitUnderTest
from app.web.downloads import chart_registry as named_charts
from app.web.downloads.chart_registry import NAMED_CHARTS
from tests.web.tried_bench import TriedBench

QUERY = {"trial-decay": "trial=3", "residuals": "trial=3", "price-history": "unit=1", "claims-measured": "unit=1"}
QUERY |= {"planned-runs": "goal=rate&unit_id=1"}
QUERY |= dict.fromkeys(("room-control", "room-ewma"), "room=1")
# the bench of these tests holds no clip, no claim, no unit of which sound, price and clean air are all known, and too
# few empty-room runs for limits
NOTHING_TO_DRAW = {"frontier", "sound-spectra", "claims-measured", "room-ewma"}
# charts of loggers and of size bins, which tests/web/pages/logger_checks and trials/test_rates_by_size.py look at
OF_CHECKS = {"logger-scatter", "logger-difference", "logger-record", "rates-by-size"}


@pytest.fixture(autouse=True)
def _bench(tried_bench: TriedBench) -> None:
    """Every chart needs something to show."""


@pytest.mark.parametrize("name", sorted(NAMED_CHARTS.keys() - OF_CHECKS))
def test_every_chart_comes_as_figure_picture_and_table(client: TestClient, name: str):
    query = QUERY.get(name, "")
    figure = client.get(f"/figures/{name}.json?{query}")
    assert figure.headers["content-type"] == "application/json"
    assert figure.json()["meta"]["alt_text"]
    svg = client.get(f"/charts/{name}.svg?{query}")
    assert svg.headers["content-type"] == "image/svg+xml"
    ElementTree.fromstring(svg.content)
    png = client.get(f"/charts/{name}.png?{query}&width_px=480&fineness=2")
    assert struct.unpack(">I", png.content[16:20]) == (960,)
    table = client.get(f"/charts/{name}.csv?{query}")
    assert table.headers["content-type"] == "text/csv; charset=utf-8"
    rows = list(csv.DictReader(StringIO(table.text, newline="")))
    assert bool(rows) is (name not in NOTHING_TO_DRAW)


def test_the_day_of_the_newest_datum_is_looked_for_where_it_is_shown(client: TestClient, monkeypatch):
    """Over ten thousand trials that takes as long as the drawing, which does not show it."""
    asked: list[object] = []
    monkeypatch.setattr(named_charts, "latest_data_date", lambda *about: asked.append(about) or date(2026, 1, 5))
    for name in ("frontier", "cost-bars", "cost-over-years", "cost-sensitivity"):
        assert client.get(f"/figures/{name}.json").status_code == 200
    assert asked == []
    for name in ("frontier", "cost-bars"):
        assert client.get(f"/charts/{name}.txt").text.endswith("Latest data: 2026-01-05.\n")
    assert len(asked) == 2


@pytest.mark.parametrize("chart_format", ["svg", "png", "csv"])
def test_the_same_address_gives_the_same_bytes(client: TestClient, chart_format: str):
    first, second = (client.get(f"/charts/decay-overlay.{chart_format}") for _ in range(2))
    assert first.content == second.content
    assert first.headers["etag"] == second.headers["etag"]
    unchanged = client.get(f"/charts/decay-overlay.{chart_format}", headers={"If-None-Match": first.headers["etag"]})
    assert unchanged.status_code == 304
    assert unchanged.content == b""


def test_the_tag_moves_with_the_data(store: Engine, client: TestClient):
    before = client.get("/charts/ranking.csv").headers["etag"]
    with session_scope(store) as session:
        session.execute(update(UnitUnderTest).where(UnitUnderTest.id == 1).values(model="Renamed"))
    after = client.get("/charts/ranking.csv", headers={"If-None-Match": before})
    assert after.status_code == 200
    assert "Renamed" in after.text


def test_the_table_holds_what_the_figure_draws(client: TestClient):
    figure = client.get("/figures/decay-overlay.json?trial=3").json()
    rows = list(csv.DictReader(StringIO(client.get("/charts/decay-overlay.csv?trial=3").text, newline="")))
    fit = next(trace for trace in figure["data"] if trace["name"].endswith("Model 1, fit"))
    table = [row for row in rows if row["series"].endswith("Model 1, fit")]
    assert [float(row["minutes_from_unit_on"]) for row in table] == fit["x"]
    assert [float(row["pm2_5_level"]) for row in table] == fit["y"]


def test_the_ranking_s_picture_follows_its_address(client: TestClient):
    table = client.get("/charts/ranking.csv?units=us&search=model").text
    assert table.startswith("series,clean_air_delivery_rate_cfm,unit,")
    assert "Lamp" not in table


def test_a_picture_opened_by_itself_may_load_and_run_nothing(client: TestClient):
    answer = client.get("/charts/ranking.svg")
    assert answer.headers["content-security-policy"] == "default-src 'none'; style-src 'unsafe-inline'; sandbox"
    assert answer.headers["x-content-type-options"] == "nosniff"


def test_names_in_pictures_and_tables_are_words(store: Engine, client: TestClient):
    with session_scope(store) as session:
        session.execute(update(UnitUnderTest).where(UnitUnderTest.id == 1).values(maker="=cmd()", model="<b>$x_1$"))
    figure = client.get("/figures/ranking.json").json()
    assert "<b>" not in json.dumps([figure["data"], figure["layout"]])  # the words in `meta` go into an attribute
    assert b"<b>" not in client.get("/charts/ranking.svg").content
    rows = list(csv.DictReader(StringIO(client.get("/charts/ranking.csv").text, newline="")))
    assert rows[0]["unit"] == "'=cmd() <b>$x_1$"


@pytest.mark.parametrize(
    ("address", "status", "message"),
    [
        ("/charts/beauty.svg", 404, "There is no chart beauty in this bench."),
        ("/figures/beauty.json", 404, "There is no chart beauty in this bench."),
        ("/charts/ranking.svg?width_px=10", 422, "The width is 10 px; 320 to 4000 px can be drawn."),
        ("/charts/ranking.png?fineness=9", 422, "The fineness is '9'; enter a number from 1 to 4."),
        ("/charts/ranking.svg?max_price=cheap", 422, "found 'cheap'; enter a number such as 12.5."),
        ("/charts/ranking.gif", 422, "Only curves over time can be animated; choose decay-overlay or trial-decay."),
        ("/charts/decay-overlay.gif?speed=2", 422, "The speed is '2'; enter times real time, from 1 to 100000, at"),
        ("/charts/ranking.png?size=huge", 422, "The size is 'huge'; choose one of: article, phone, print, video-1080"),
        ("/charts/ranking.svg?look=pink", 422, "The look is 'pink'; choose one of: page, light, dark, transparent."),
        ("/charts/residuals.svg", 422, "This chart needs a trial; add ?trial= and its number to the URL."),
        ("/charts/decay-overlay.svg?trial=x", 422, "found 'x'; enter a whole number."),
        ("/charts/decay-overlay.svg?scale=cubic", 422, "The scale is 'cubic'; choose linear or log."),
        ("/charts/trial-decay.svg?trial=3&scale=cubic", 422, "The scale is 'cubic'; choose one of: linear, log."),
    ],
)
def test_what_cannot_be_drawn_is_told(client: TestClient, address: str, status: int, message: str):
    answer = client.get(address)
    assert answer.status_code == status
    assert message in answer.text.replace("&#39;", "'")


def test_a_format_that_there_is_not_is_refused(client: TestClient):
    assert client.get("/charts/ranking.gif").status_code == 422
