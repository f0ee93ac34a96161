"""What is costly to make is made once in a run of the tests, whichever worker needs it first, and copied from there."""

import fcntl
import os
import shutil
import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pytest

from app.services.store.open import open_store
from app.settings import Settings


def made_once(factory: pytest.TempPathFactory, name: str, make: Callable[[Path], None]) -> Path:
    """A folder that `make` fills once for all workers; the others wait until it is whole."""
    base = factory.getbasetemp()
    if "PYTEST_XDIST_WORKER" in os.environ:  # each worker has a folder of its own inside the one of the run
        base = base.parent
    folder, unfinished = base / name, base / f"{name}.unfinished"
    with (base / f"{name}.lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        if not folder.exists():
            unfinished.mkdir()
            make(unfinished)
            unfinished.rename(folder)
    return folder


def make_empty_store(folder: Path) -> None:
    """`bench.sqlite` as the migrations leave it."""
    open_store(Settings(folder)).dispose()
    settle(folder)


def make_demo_store(folder: Path, *, small: bool = True) -> None:
    """`bench.sqlite` of the small demonstration bench, or of the whole one."""
    from seed_demo.build import build_demo

    engine = open_store(Settings(folder))
    build_demo(engine, small=small)
    engine.dispose()
    settle(folder)


def make_demo_site(demo_store: Path, folder: Path) -> None:
    """`site`, the published site of the small demonstration bench, and the bench that holds its edition."""
    from app.web.published.publish import publish

    shutil.copyfile(demo_store, folder / "bench.sqlite")
    engine = open_store(Settings(folder))
    publish(engine, folder / "site", workers=1)
    engine.dispose()
    settle(folder)


def settle(folder: Path) -> None:
    """Brings what stands in the write-ahead log into the store, so that copying the file copies all of it."""
    with closing(sqlite3.connect(folder / "bench.sqlite")) as store:
        store.execute("PRAGMA wal_checkpoint(TRUNCATE)")
