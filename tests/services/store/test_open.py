"""Opening a store, and each reason not to."""

import os
import sqlite3
import tempfile
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

import pytest
from sqlalchemy import text

from app.bundled_files import bundled_folder
from app.errors import InvalidValue, StoreProblem
from app.services.store import open as opening
from app.services.store.open import open_store, sqlite_file
from app.services.store.revisions import read_store_revisions
from app.settings import Settings
from app.storage.engine import session_scope
from app.storage.models.bench import Bench
from tests.conftest import sqlite_only


def test_a_store_is_made_where_there_is_none(tmp_path: Path):
    said = []
    engine = open_store(
        Settings(tmp_path / "new" / "bench"), lambda done, total, what: said.append((done, total, what))
    )
    with session_scope(engine) as session:
        bench = session.get_one(Bench, 1)
        assert (bench.name, bench.clear_level_kind, bench.clear_level_value) == ("Bench", "absolute", 10.0)
    engine.dispose()
    assert said[0][2] == "Opening the store"
    assert said[-1] == (3, 3, "The store is ready")


def test_the_newest_revision_is_read_from_the_files_without_alembic():
    revisions = read_store_revisions(bundled_folder("migrations"))
    assert (revisions.first, revisions.newest) == (min(revisions.known), max(revisions.known))


def test_migration_files_that_do_not_form_one_line_are_refused(tmp_path: Path):
    (tmp_path / "versions").mkdir()
    with pytest.raises(StoreProblem, match=r"holds 0 newest store versions; exactly one is needed\. Install Hazefall"):
        read_store_revisions(tmp_path)


@sqlite_only
def test_foreign_keys_and_write_ahead_log_are_on(store):
    with store.connect() as connection:
        assert connection.scalar(text("PRAGMA foreign_keys")) == 1
        assert connection.scalar(text("PRAGMA journal_mode")) == "wal"


@contextmanager
def _as_nobody() -> Iterator[None]:
    """As a user without rights; the superuser may write everywhere."""
    if os.geteuid() != 0:
        yield
        return
    os.seteuid(65534)
    try:
        yield
    finally:
        os.seteuid(0)


@pytest.fixture
def open_folder() -> Iterator[Path]:
    """A folder that every user may enter, unlike those of the test runner."""
    with tempfile.TemporaryDirectory() as name:
        Path(name).chmod(0o755)
        yield Path(name)
        Path(name).chmod(0o755)


def test_a_read_only_folder_is_refused(open_folder: Path):
    open_folder.chmod(0o555)
    with _as_nobody(), pytest.raises(StoreProblem) as refused:
        open_store(Settings(open_folder))
    assert refused.value.message == (
        f"The folder {open_folder} cannot be written: Permission denied. Give the program write "
        f"permission, or choose another folder with --data or HAZEFALL_DATA."
    )


def test_a_read_only_store_is_refused(open_folder: Path):
    open_store(Settings(open_folder)).dispose()
    (open_folder / "bench.sqlite").chmod(0o444)
    open_folder.chmod(0o777)
    with _as_nobody(), pytest.raises(StoreProblem) as refused:
        open_store(Settings(open_folder))
    assert refused.value.message.startswith(
        f"The store {open_folder}/bench.sqlite cannot be written: Permission denied."
    )


def test_a_file_in_the_place_of_the_folder_is_refused(tmp_path: Path):
    (tmp_path / "bench").write_text("not a folder")
    with pytest.raises(StoreProblem, match="cannot be written: File exists"):
        open_store(Settings(tmp_path / "bench"))


def test_a_locked_store_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(opening, "_LOCK_TIMEOUT_S", 0.1)
    path = tmp_path / "bench.sqlite"
    with closing(sqlite3.connect(path)) as other:
        other.execute("CREATE TABLE t (x)")
        other.commit()
        other.execute("BEGIN EXCLUSIVE")
        with pytest.raises(StoreProblem) as refused:
            open_store(Settings(tmp_path))
    assert refused.value.message == (
        f"{path} is locked by another program. Close that program, or wait until it has finished, and try again."
    )


def test_a_file_that_is_no_store_is_refused(tmp_path: Path):
    (tmp_path / "bench.sqlite").write_bytes(b"this is not a store, but it is longer than a header" * 40)
    with pytest.raises(StoreProblem) as refused:
        open_store(Settings(tmp_path))
    assert refused.value.message == (
        f"{tmp_path}/bench.sqlite is damaged or not a store: file is not a database. Keep the file "
        f"unchanged and restore a copy with `hazefall restore`; copies made before each migration are "
        f"beside it."
    )


@sqlite_only
def test_a_damaged_store_is_refused_and_left_as_it_is(settings: Settings):
    path = settings.data_folder / "bench.sqlite"
    content = bytearray(path.read_bytes())
    content[100:3000] = os.urandom(2900)
    path.write_bytes(content)
    with pytest.raises(StoreProblem, match=r"is damaged or not a store: .*malformed"):
        open_store(settings)
    assert path.read_bytes() == content


@sqlite_only
def test_a_store_from_a_newer_version_is_refused(settings: Settings):
    path = settings.data_folder / "bench.sqlite"
    with closing(sqlite3.connect(path)) as store:
        store.execute("UPDATE alembic_version SET version_num = '8888'")
        store.commit()
    newest = read_store_revisions(bundled_folder("migrations")).newest
    with pytest.raises(StoreProblem) as refused:
        open_store(settings)
    assert refused.value.message == (
        f"{path} is from a newer Hazefall: its version is 8888, and this program knows up to {newest}. "
        "Install the newer version, or open another folder."
    )


def test_a_database_of_another_program_is_refused(tmp_path: Path):
    with closing(sqlite3.connect(tmp_path / "bench.sqlite")) as other:
        other.execute("CREATE TABLE recipes (name)")
        other.commit()
    with pytest.raises(StoreProblem, match="is a database of another program: it holds 1 tables and no store version"):
        open_store(Settings(tmp_path))


def test_an_unknown_kind_of_database_is_refused(tmp_path: Path):
    with pytest.raises(InvalidValue, match=r"The database URL begins with oddbase://, which is not supported\. Use"):
        open_store(Settings(tmp_path, database_url="oddbase://somewhere/bench"))


def test_a_database_server_that_does_not_answer_is_refused(tmp_path: Path):
    url = "postgresql://nobody@127.0.0.1:1/bench"
    with pytest.raises(StoreProblem, match=r"The database does not respond: .*Start the database server and try again"):
        open_store(Settings(tmp_path, database_url=url))


def test_a_disk_without_room_for_the_copy_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    from tests.storage.migrated import BEFORE_FIRST, migrate_to

    migrate_to(tmp_path / "bench.sqlite", BEFORE_FIRST)
    monkeypatch.setattr(opening.shutil, "disk_usage", lambda _folder: type("Usage", (), {"free": 10})())
    with pytest.raises(StoreProblem, match=r"needs a backup copy of \d+ MB before migration, but 0 MB are free"):
        open_store(Settings(tmp_path))


def test_the_path_of_a_store_is_told_for_sqlite_alone():
    assert sqlite_file("sqlite:////data/bench.sqlite") == Path("/data/bench.sqlite")
    assert sqlite_file("postgresql://host/bench") is None


def test_a_percent_sign_in_the_path_of_the_program_does_no_harm(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    import shutil

    folder = tmp_path / "100%s" / "migrations"
    shutil.copytree(bundled_folder("migrations"), folder)
    monkeypatch.setattr(opening, "bundled_folder", lambda _name: folder)
    open_store(Settings(tmp_path / "bench")).dispose()
