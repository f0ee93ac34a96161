"""A server on a fresh bench for each test; `settings` and `store` of the folder above hold the same bench."""

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from argon2 import PasswordHasher
from fastapi import FastAPI
from fastapi.testclient import TestClient

from app.services.access import passwords, sign_in
from app.services.store.open import open_store
from app.settings import Settings
from app.storage.engine import session_scope
from app.web.application import make_app
from tests.conftest import new_database
from tests.sample_data.local_access import local_browser
from tests.sample_data.made_once import made_once, settle
from tests.web.tried_bench import TriedBench, fill


@pytest.fixture(scope="module", autouse=True)
def cheap_passwords() -> Iterator[None]:
    """Hashes that cost next to nothing; what they cost in earnest is tested in `tests/services/access`."""
    cheap = PasswordHasher(time_cost=1, memory_cost=8, parallelism=1)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(passwords, "_hasher", lambda: cheap)
        patch.setattr(sign_in, "OF_NOBODY", cheap.hash("of nobody"))
        yield


@pytest.fixture
def app(settings: Settings) -> FastAPI:
    return make_app(settings)


@pytest.fixture
def client(app: FastAPI, settings: Settings) -> Iterator[TestClient]:
    """A browser on this machine that holds the secret and follows no redirects: a test sees the 303 itself."""
    with local_browser(app, settings, follow_redirects=False) as opened:
        yield opened


@pytest.fixture(scope="session")
def tried_template(store_template: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The store of the tried bench, filled once."""

    def make(folder: Path) -> None:
        shutil.copyfile(store_template, folder / "bench.sqlite")
        _fill(Settings(folder))
        settle(folder)

    return made_once(tmp_path_factory, "tried_store", make) / "bench.sqlite"


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
    if "demo_bench" in request.fixturenames:
        return "demo_template", "demo_database"
    return "store_template", "database_template"


@pytest.fixture
def tried_bench(settings: Settings) -> TriedBench:
    """The bench of `settings` is a copy of the tried one wherever a test asks for this."""
    return TriedBench()


@pytest.fixture
def demo_bench(settings: Settings) -> Settings:
    """The bench of `settings` is a copy of the small demonstration bench wherever a test asks for this."""
    return settings
