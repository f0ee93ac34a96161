"""What only a database server does: refusals at the door, older stores that come up to date, triggers of its own."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from sqlalchemy import Engine, NullPool, create_engine, make_url, text
from sqlalchemy.exc import DBAPIError

from app.bundled_files import bundled_folder
from app.errors import StoreProblem
from app.services.store import open as opening
from app.services.store.audit import record_change
from app.services.store.open import open_store
from app.services.store.revisions import read_store_revisions
from app.settings import Settings
from app.storage.engine import session_scope
from app.storage.models.bench import Bench
from tests.conftest import POSTGRESQL, new_database

pytestmark = pytest.mark.skipif(
    not POSTGRESQL, reason="no PostgreSQL server is named in HAZEFALL_TEST_POSTGRESQL; the stores of this run are files"
)


@pytest.fixture
def empty() -> Iterator[str]:
    """Address of an empty database."""
    with new_database() as url:
        yield url


def _row_counts(url: str) -> dict[str, int]:
    engine = create_engine(url, poolclass=NullPool)
    with engine.connect() as connection:
        tables = connection.scalars(
            text("SELECT tablename FROM pg_tables WHERE schemaname = 'public' AND tablename <> 'alembic_version'")
        ).all()
        return {name: connection.scalar(text(f'SELECT count(*) FROM "{name}"')) for name in tables}


def test_a_migration_that_fails_leaves_the_database_as_it_was(
    empty: str, tmp_path: Path, request: pytest.FixtureRequest
):
    open_store(Settings(tmp_path, database_url=empty)).dispose()
    before = _row_counts(empty)
    request.getfixturevalue("failing_migrations")
    with pytest.raises(StoreProblem, match='The database cannot be opened: relation "no_such_table" does not exist'):
        open_store(Settings(tmp_path, database_url=empty))
    assert _row_counts(empty) == before


@pytest.mark.parametrize(
    "statement",
    [
        "TRUNCATE changes",
        "INSERT INTO changes SELECT * FROM changes ON CONFLICT (id) DO UPDATE SET who = 'Eve'",
    ],
)
def test_the_record_of_changes_is_neither_emptied_nor_written_over(empty: str, tmp_path: Path, statement: str):
    store = open_store(Settings(tmp_path, database_url=empty))
    with session_scope(store) as session:
        record_change(session, "Ann", "changed", "room", 1)
    with pytest.raises(DBAPIError, match="the record of changes can only be added to"), store.begin() as connection:
        connection.execute(text(statement))
    with store.connect() as connection:
        assert connection.scalar(text("SELECT who FROM changes")) == "Ann"
    store.dispose()


def test_a_page_reads_one_state_while_others_write(empty: str, tmp_path: Path):
    store = open_store(Settings(tmp_path, database_url=empty))
    with session_scope(store, writes=False) as reading:
        name = reading.scalar(text("SELECT name FROM bench"))
        with session_scope(store) as session:
            session.get_one(Bench, 1).name = "Renamed"
        assert reading.scalar(text("SELECT name FROM bench")) == name
    with session_scope(store, writes=False) as reading:
        assert reading.scalar(text("SELECT name FROM bench")) == "Renamed"
    store.dispose()


def _refusal(url: str, folder: Path) -> str:
    with pytest.raises(StoreProblem) as refused:
        open_store(Settings(folder, database_url=url))
    return refused.value.message


def _with(url: str, **parts: str) -> str:
    return make_url(url).set(**parts).render_as_string(hide_password=False)


def test_a_database_that_is_not_there_is_told(empty: str, tmp_path: Path):
    assert _refusal(_with(empty, database="no_such_bench"), tmp_path) == (
        'The database does not exist: database "no_such_bench" does not exist. Create it first (with createuser and '
        "createdb), or correct the name in --database or HAZEFALL_DATABASE_URL."
    )
    assert 'does not exist: role "nobody_here" does not exist.' in _refusal(
        _with(empty, username="nobody_here"), tmp_path
    )


def test_a_database_of_another_program_or_a_newer_one_is_refused(empty: str, tmp_path: Path):
    engine = create_engine(empty, poolclass=NullPool)
    with engine.begin() as connection:
        connection.execute(text("CREATE TABLE recipes (name text)"))
    assert _refusal(empty, tmp_path).startswith("The database is a database of another program: it holds 1 tables and")
    with engine.begin() as connection:
        connection.execute(text("DROP TABLE recipes"))
    open_store(Settings(tmp_path, database_url=empty)).dispose()
    with engine.begin() as connection:
        connection.execute(text("UPDATE alembic_version SET version_num = '8888'"))
    newest = read_store_revisions(bundled_folder("migrations")).newest
    assert _refusal(empty, tmp_path).startswith(
        f"The database is from a newer Hazefall: its version is 8888, and this program knows up to {newest}."
    )


def test_a_database_that_does_not_keep_every_letter_is_refused(empty: str, tmp_path: Path):
    engine = create_engine(POSTGRESQL, isolation_level="AUTOCOMMIT", poolclass=NullPool)
    name = f"{make_url(empty).database}_ascii"
    with engine.connect() as connection:
        connection.execute(text(f"CREATE DATABASE {name} TEMPLATE template0 ENCODING 'SQL_ASCII' LOCALE 'C'"))
        try:
            assert _refusal(_with(empty, database=name), tmp_path) == (
                "The database uses the encoding SQL_ASCII; UTF8 is required. Create another with: "
                "createdb --encoding=UTF8 --template=template0 NAME."
            )
        finally:
            connection.execute(text(f"DROP DATABASE {name} WITH (FORCE)"))


def test_a_server_that_is_too_old_is_refused(empty: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(opening, "_OLDEST_SERVER", 99)
    assert _refusal(empty, tmp_path).endswith("; 99 or newer is required. Update the database server.")


def test_two_that_open_an_empty_database_together_both_get_it(empty: str, tmp_path: Path):
    from concurrent.futures import ThreadPoolExecutor

    def open_and_count(_: int) -> int:
        engine = open_store(Settings(tmp_path, database_url=empty))
        with engine.connect() as connection:
            found = connection.scalar(text("SELECT count(*) FROM bench"))
        engine.dispose()
        return int(found or 0)

    with ThreadPoolExecutor(4) as pool:
        assert list(pool.map(open_and_count, range(4))) == [1] * 4


def test_names_are_compared_with_capitals_aside_beyond_ascii_too(empty: str, tmp_path: Path):
    store: Engine = open_store(Settings(tmp_path, database_url=empty))
    with store.connect() as connection:
        assert connection.scalar(text("SELECT lower('ÄÉØ')")) == "äéø"
    store.dispose()
