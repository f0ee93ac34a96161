"""What the tests of publishing share: a bench of their own, and editions that are made once."""

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from sqlalchemy import Engine

from app.services.store.open import open_store
from app.settings import Settings
from tests.web.published.editions_made import Made, make_editions


@pytest.fixture(scope="module")
def five(tried_template: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Made]:
    """Five editions of a small bench. For reading only: the tests of a file share it."""
    folder = tmp_path_factory.mktemp("five_editions")
    (folder / "bench").mkdir()
    shutil.copyfile(tried_template, folder / "bench" / "bench.sqlite")
    engine = open_store(Settings(folder / "bench"))
    yield make_editions(engine, folder)
    engine.dispose()


@pytest.fixture
def bench(tried_template: Path, tmp_path: Path) -> Iterator[Engine]:
    """A copy of the tried bench, of each test's own."""
    (tmp_path / "bench").mkdir()
    shutil.copyfile(tried_template, tmp_path / "bench" / "bench.sqlite")
    engine = open_store(Settings(tmp_path / "bench"))
    yield engine
    engine.dispose()
