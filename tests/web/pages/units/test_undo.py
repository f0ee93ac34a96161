"""Undo on the page of a unit: after each change that its checklist offers, everything is as before."""

import re
import sqlite3
from collections.abc import Callable
from contextlib import closing
from datetime import UTC, datetime, timedelta

import pytest
from fastapi.testclient import TestClient

from app.services.measurements import undo
from app.settings import Settings
from app.storage.engine import session_scope
from tests.conftest import SmallBench
from tests.sample_data.photos import photo
from tests.sample_data.sound_files import noise, sound_bytes
from tests.web.pages.units.test_measurements import sound
from tests.web.pages.units.test_statements import CLAIM, RATING

# tables that a change leaves behind on purpose: the record, the bytes of files, counters of changes
KEPT = ("changes", "raw_files", "unit_changes", "bench_changes", "sqlite_sequence", "sqlite_stat1", "alembic_version")
DAY = {"price_seen_on": "2026-01-05", "consumable_price_seen_on": "2026-01-05"}
UNIT = {"maker": "Invented Works", "model": "Barn", "kind_of_cleaning": "other", "who": "Ann"}
PRICES = {"price": "199", "currency": "EUR", "price_source": "invented shop"}
PARTS = {
    "consumable": "main filter", "life_months": "12", "life_source": "manual", "consumable_price": "40",
    "consumable_currency": "EUR", "consumable_price_source": "invented shop", "pieces_in_use": "1", "pack_size": "1",
    "consumable_kind": "filter",
}  # fmt: skip


def rows(settings: Settings) -> dict[str, list[tuple]]:
    with closing(sqlite3.connect(settings.data_folder / "bench.sqlite")) as connection:
        names = [name for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
        return {
            name: sorted(connection.execute(f"SELECT * FROM {name}"), key=repr) for name in names if name not in KEPT
        }


def _edit(**fields: str) -> Callable[[TestClient, SmallBench], object]:
    def act(client: TestClient, bench: SmallBench) -> object:
        page = client.get(f"/units/{bench.unit_id}/edit").text
        own = dict(re.findall(r'<input[^>]* name="((?:maker|model|setting_)\w*)"[^>]*value="([^"]*)"', page))
        own |= {"kind_of_cleaning": re.findall(r'value="([^"]+)" selected', page)[0]}
        return client.post(f"/units/{bench.unit_id}/edit", data=own | DAY | {"who": "Ann"} | fields)

    return act


CHANGES: dict[str, Callable[[TestClient, SmallBench], object]] = {
    "sound": lambda client, bench: client.post(f"/units/{bench.unit_id}/sound", data=sound(bench)),
    "power": lambda client, bench: client.post(
        f"/units/{bench.unit_id}/power",
        data={"setting": "0", "power_w": "1.2", "power_uncertainty_w": "0.1", "measured_on": "2026-01-05"},
    ),
    "ozone": lambda client, bench: client.post(
        f"/units/{bench.unit_id}/ozone", data={"ozone_ppb": "3", "ozone_tested_on": "2026-01-05"}
    ),
    "rating": lambda client, bench: client.post(f"/units/{bench.unit_id}/ratings", data=RATING),
    "claim": lambda client, bench: client.post(f"/units/{bench.unit_id}/claims", data=CLAIM),
    "recording": lambda client, bench: client.post(
        f"/units/{bench.unit_id}/clips",
        data={"setting": str(bench.high_setting_id), "distance_m": "1", "channel": "1", "recorded_on": "2026-02-03"},
        files={"clip": ("fan.wav", sound_bytes(noise()), "audio/wav")},
    ),
    "photo": lambda client, bench: client.post(
        f"/units/{bench.unit_id}/attachments", data={"shows": "label"}, files={"file": ("label.jpg", photo(place=True))}
    ),
    "verdict": lambda client, bench: client.post(
        f"/units/{bench.unit_id}/draft/verdict", data={"verdict": "Fine.", "state": "draft"}
    ),
    "price": _edit(**PRICES),
    "part": _edit(**PARTS),
    "fields and settings": _edit(mass_kg="4.25", bought_on="2026-01-02", unit_notes="two\nlines", new_settings="turbo"),
}


def test_everything_is_as_before_after_undo(
    client: TestClient, settings: Settings, small_bench: SmallBench, subtests: pytest.Subtests
):
    page = f"/units/{small_bench.unit_id}"
    assert 'class="undo"' not in client.get(page).text
    before = rows(settings)
    for what, change_unit in CHANGES.items():
        with subtests.test(what):
            answer = change_unit(client, small_bench)
            assert answer.status_code == 303, answer.text
            assert rows(settings) != before
            offered = client.get(page).text
            change = re.search(r'name="change_id" value="(\d+)"', offered)
            assert change
            assert re.search(r"Undo</button> <span [^>]*>until \d\d:\d\d, or until the unit is changed again", offered)
            assert client.post(f"{page}/undo", data={"change_id": change[1]}).status_code == 303
            assert rows(settings) == before
            assert 'class="undo"' not in client.get(page).text


def test_an_offer_that_is_too_old_changes_nothing(client: TestClient, store, small_bench: SmallBench, monkeypatch):
    CHANGES["ozone"](client, small_bench)
    page = f"/units/{small_bench.unit_id}"
    change = re.search(r'name="change_id" value="(\d+)"', client.get(page).text)
    assert change
    with session_scope(store) as session:
        later = datetime.now(UTC) + timedelta(minutes=11)
        assert undo.last_change(session, small_bench.unit_id, later) is None
    CHANGES["claim"](client, small_bench)
    refused = client.post(f"{page}/undo", data={"change_id": change[1]})
    assert refused.status_code == 422
    assert "nothing was undone" in refused.text
