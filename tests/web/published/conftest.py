"""Editions that are made once for the tests of this folder."""

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest

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
