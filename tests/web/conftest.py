"""A server on a fresh bench for each test; `settings` and `store` of the folder above hold the same bench."""

import shutil
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient

from app.services.store.open import open_store
from app.settings import Settings
from app.storage.engine import session_scope
from app.web.application import make_app
from tests.conftest import new_database
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
    _fill(Settings(folder))
    with closing(sqlite3.connect(folder / "bench.sqlite")) as store:
        store.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    return folder / "bench.sqlite"


@pytest.fixture(scope="session")
def tried_database(database_template: str, tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """The same on PostgreSQL."""
    with new_database(template=database_template) as url:
        _fill(Settings(tmp_path_factory.mktemp("tried_bench"), database_url=url))
        yield url.rpartition("/")[2]


def _fill(settings: Settings) -> None:
    engine = open_store(settings)
    with session_scope(engine) as session:
        fill(session)
    engine.dispose()


@pytest.fixture
def templates(request: pytest.FixtureRequest) -> tuple[str, str]:
    if "tried_bench" in request.fixturenames:
        return "tried_template", "tried_database"
    return "store_template", "database_template"


@pytest.fixture
def tried_bench(settings: Settings) -> TriedBench:
    """The bench of `settings` is a copy of the tried one wherever a test asks for this."""
    return TriedBench()
