"""A server on a fresh bench for each test; `settings` and `store` of the folder above hold the same bench."""

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient

from app.services.open_store import open_store
from app.settings import Settings
from app.storage.engine import session_scope
from app.web.application import make_app
from tests.web.tried_bench import TriedBench, fill


@pytest.fixture
def app(settings: Settings) -> FastAPI:
    return make_app(settings)


@pytest.fixture
def client(app: FastAPI) -> Iterator[TestClient]:
    """A browser on this machine that does not follow redirects, so that a test sees the 303 itself."""
    with TestClient(app, base_url="http://127.0.0.1", follow_redirects=False) as opened:
        yield opened


@pytest.fixture(scope="session")
def tried_template(store_template: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The store of the tried bench, filled once."""
    folder = tmp_path_factory.mktemp("tried_bench")
    shutil.copyfile(store_template, folder / "bench.sqlite")
    engine = open_store(Settings(folder))
    with session_scope(engine) as session:
        fill(session)
    with engine.connect() as connection:
        connection.exec_driver_sql("PRAGMA wal_checkpoint(TRUNCATE)")
    engine.dispose()
    return folder / "bench.sqlite"


@pytest.fixture
def tried_bench(settings: Settings, tried_template: Path) -> TriedBench:
    """A copy of the tried bench in place of the empty one; ask for it before `client`."""
    shutil.copyfile(tried_template, settings.data_folder / "bench.sqlite")
    return TriedBench()
