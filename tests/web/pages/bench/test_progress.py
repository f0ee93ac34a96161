"""Progress of long work as shown to the waiting page."""

import os
import re
import time
from pathlib import Path

import pytest
from fastapi.testclient import TestClient

from app.services.results import trial_results
from app.settings import Settings
from app.web.progress_board import ProgressBoard
from tests.web.tried_bench import TriedBench

KEY = "0123456789abcdef" * 2


def fields_of(client: TestClient, address: str) -> dict[str, str]:
    """What a browser would send of the form at an address, unchanged."""
    page = client.get(address).text
    typed = dict(re.findall(r'<input id="[^"]*" name="([^"]*)" type="[a-z]+" value="([^"]*)"', page))
    for name, options in re.findall(r'<select id="[^"]*" name="([^"]*)".*?>(.*?)</select>', page, re.S):
        chosen = re.search(r'<option value="([^"]*)" selected', options)
        typed[name] = chosen[1] if chosen else ""
    return typed


def test_a_new_clear_level_tells_how_many_trials_are_done(
    tried_bench: TriedBench, client: TestClient, monkeypatch: pytest.MonkeyPatch
):
    """Asked for while the work goes on, from beside it, as the page asks."""
    seen = []
    analyse = trial_results.analyse_stored_trial

    def asked_meanwhile(*told):
        seen.append(client.get(f"/progress/{KEY}").json())
        return analyse(*told)

    monkeypatch.setattr(trial_results, "analyse_stored_trial", asked_meanwhile)
    before = client.get("/api/trials/3").json()["channels"]["pm2_5"]["time_to_clear_min"]["value"]
    fields = fields_of(client, "/bench") | {"clear_level_value": "40", "progress_key": KEY}
    answer = client.post("/bench", data=fields)
    assert answer.status_code == 303, answer.text
    assert [told["done"] for told in seen] == [0, 1, 2, 3, 4, 5]
    assert {told["total"] for told in seen} == {6}
    assert {told["what"] for told in seen} == {"trials re-analysed"}
    assert client.get(f"/progress/{KEY}").json() == {}  # nothing is kept of work that is done
    after = client.get("/api/trials/3").json()["channels"]["pm2_5"]
    assert after["clear_level"] == 40.0
    assert after["time_to_clear_min"]["value"] < before


def test_a_refused_change_leaves_no_progress_behind(tried_bench: TriedBench, client: TestClient, settings: Settings):
    fields = fields_of(client, "/bench") | {
        "clear_level_kind": "share_of_start",
        "clear_level_value": "10",
        "progress_key": KEY,
    }
    assert client.post("/bench", data=fields).status_code == 422
    assert list((settings.data_folder / "progress").iterdir()) == []


def test_work_without_a_key_is_done_unseen(tmp_path: Path):
    board = ProgressBoard(tmp_path / "progress")
    for key in ("", "short", "G" * 32, KEY + "0"):
        with board.watched(key) as tell:
            tell(1, 2, "steps")
            assert board.of(key) is None
    with board.watched(KEY) as tell:
        tell(1, 2, "steps")
        told = ProgressBoard(tmp_path / "progress").of(KEY)  # as another process asks
        assert (told.done, told.total, told.what) == (1, 2, "steps")
    assert board.of(KEY) is None


def test_what_a_killed_process_left_behind_goes_after_a_day(tmp_path: Path):
    folder = tmp_path / "progress"
    folder.mkdir()
    (folder / "old.json").write_text("{}")
    os.utime(folder / "old.json", (time.time() - 90_000,) * 2)
    (folder / "new.json").write_text("{}")
    with ProgressBoard(folder).watched(KEY):
        assert [file.name for file in folder.iterdir()] == ["new.json"]


def test_work_goes_on_where_its_progress_cannot_be_told(tmp_path: Path):
    (tmp_path / "progress").write_text("a file in the place of the folder")
    board = ProgressBoard(tmp_path / "progress")
    with board.watched(KEY) as tell:
        tell(1, 2, "steps")
        assert board.of(KEY) is None
