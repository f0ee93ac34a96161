"""Two processes with data folders of their own, as on two machines, and one database server."""

import time
from pathlib import Path

import pytest
from sqlalchemy import func, select

from app.services.store.open import open_store
from app.settings import Settings
from app.storage.engine import session_scope
from app.storage.models.logs import RawFile, StagedFile
from app.web.application import make_app
from tests.conftest import decay_log
from tests.faults.real_process import served
from tests.sample_data.local_access import local_browser
from tests.web.tried_bench import fill

_WAIT_S = 60.0


def test_an_upload_staged_on_one_is_previewed_and_stored_on_the_other(settings: Settings, tmp_path: Path):
    if not settings.database_url:
        pytest.skip("a SQLite file is of one machine")
    engine = open_store(settings)
    with session_scope(engine) as session:
        fill(session)
    log = decay_log(9.0, seed=77).replace(b"\n", b"\r\n")
    run = {"kind": "unit running", "unit_under_test_id": "1", "setting": "high", "room_id": "1", "tested_by": "Ada"}
    there = tmp_path / "there"
    there.mkdir()
    with (
        served(there, options=["--database", settings.database_url]) as other,
        other.client(_WAIT_S) as one,
        local_browser(make_app(settings), settings, follow_redirects=False) as two,
    ):
        sent = one.post("/trials/add", files={"log": ("run.csv", log, "text/csv")})
        assert sent.status_code == 303, sent.text
        preview = sent.headers["location"].split("?")[0]
        pages = [client.get(preview, params=run).text for client in (two, one)]
        shown = [page.split('name="shown" value="')[1].split('"')[0] for page in pages]
        assert shown[0] == shown[1] != ""
        stored = two.post(preview, data={**run, "shown": shown[0]})
        assert stored.status_code == 303, stored.text
        end = time.monotonic() + _WAIT_S
        while one.get(preview).status_code != 404:  # removed after the answer
            assert time.monotonic() < end
            time.sleep(0.05)
        again = one.post(preview, data={**run, "shown": shown[0]})
        assert again.headers["location"] == stored.headers["location"]
    with session_scope(engine, writes=False) as session:
        kept = session.scalars(select(RawFile.content).where(RawFile.size_bytes == len(log))).all()
        assert log in [bytes(content) for content in kept]
        assert session.scalar(select(func.count()).select_from(StagedFile)) == 0
    engine.dispose()
