"""The migrations give the tables of the models, and keep every row on the way."""

import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
from alembic import command
from alembic.config import Config
from sqlalchemy import Engine, create_engine, inspect, select, text

from app.bundled_files import bundled_folder
from app.errors import StoreProblem
from app.services.ranking.table import rank_units
from app.services.snapshot.bench_snapshot import current_snapshot
from app.services.store.audit import changes_of
from app.services.store.open import open_store
from app.services.trials.detail import trial_detail
from app.services.trials.trash import list_trash
from app.settings import Settings
from app.storage.engine import session_scope
from app.storage.models.all_models import METADATA
from app.storage.models.summaries import SettingSummary
from app.storage.models.trials import ChannelResult, ResultNote
from tests.conftest import new_database, sqlite_only
from tests.storage.filled_store import WRITTEN_BY_THE_STORE, columns_of, contents, fill, filled_rows, plain_engine
from tests.storage.migrated import BEFORE_FIRST, EARLIER, REVISIONS, migrate_to, migrate_url_to


def test_alembic_sees_no_difference_between_models_and_migrated_store(store: Engine):
    config = Config()
    config.set_main_option("script_location", str(bundled_folder("migrations")))
    with store.connect() as connection:
        config.attributes["connection"] = connection
        command.check(config)  # raises where something differs


@pytest.fixture(scope="module")
def made_from_models(tmp_path_factory: pytest.TempPathFactory) -> Engine:
    engine = create_engine(f"sqlite:///{tmp_path_factory.mktemp('models')}/models.sqlite")
    METADATA.create_all(engine)
    return engine


@sqlite_only
def test_checks_of_the_models_stand_in_the_migrated_store(store: Engine, made_from_models: Engine, subtests):
    """`alembic check` does not compare CHECK constraints."""
    for table in METADATA.sorted_tables:
        with subtests.test(table=table.name):
            found = {(c["name"], c["sqltext"]) for c in inspect(store).get_check_constraints(table.name)}
            wanted = {(c["name"], c["sqltext"]) for c in inspect(made_from_models).get_check_constraints(table.name)}
            assert found == wanted


@sqlite_only
def test_every_table_of_the_migrated_store_is_strict(store: Engine, subtests):
    """`alembic check` does not compare STRICT either."""
    with store.connect() as connection:
        strict = dict(
            connection.execute(text("SELECT name, strict FROM pragma_table_list WHERE schema = 'main'")).all()
        )
    for table in METADATA.sorted_tables:
        with subtests.test(table=table.name):
            assert strict[table.name] == 1


@sqlite_only
def test_keys_and_indexes_of_the_models_stand_in_the_migrated_store(store: Engine, made_from_models: Engine, subtests):
    for table in METADATA.sorted_tables:
        with subtests.test(table=table.name):
            for what in ("get_foreign_keys", "get_indexes", "get_unique_constraints", "get_pk_constraint"):
                found, wanted = (getattr(inspect(e), what)(table.name) for e in (store, made_from_models))
                assert _sorted(found) == _sorted(wanted)


def _sorted(found):
    return sorted(found, key=repr) if isinstance(found, list) else found


def _row_counts(path: Path) -> dict[str, int]:
    with closing(sqlite3.connect(path)) as store:
        tables = [
            row[0]
            for row in store.execute("SELECT name FROM sqlite_master WHERE type = 'table'")
            if not row[0].startswith(("sqlite_", "alembic"))
        ]
        return {table: store.execute(f"SELECT count(*) FROM {table}").fetchone()[0] for table in tables}


@pytest.fixture
def empty_store(tmp_path: Path, kind_of_store: str) -> Iterator[Settings]:
    """Settings of a store without any table, on each kind of store."""
    if kind_of_store == "sqlite":
        yield Settings(tmp_path)
        return
    with new_database() as url:
        yield Settings(tmp_path, database_url=url)


# A migration differs between the kinds of store in its types, which three starts show as well as all of them.
ON_BOTH_STORES = (EARLIER[0], EARLIER[len(EARLIER) // 2], EARLIER[-1])
Contents = dict[str, list[dict[str, Any]]]  # of a store: table to rows


@sqlite_only
@pytest.mark.parametrize("revision", EARLIER)
def test_a_filled_store_of_every_earlier_version_keeps_every_row_and_value(tmp_path: Path, revision: str):
    """And the copy that is made before holds the store as it was."""
    before = _keeps_every_row_and_value(Settings(tmp_path), revision)
    copy = plain_engine(f"sqlite:///{tmp_path}/bench.sqlite.before-{REVISIONS[-1]}")
    assert contents(copy) == before
    with copy.connect() as connection:
        assert connection.scalar(text("SELECT version_num FROM alembic_version")) == revision


@pytest.mark.parametrize("revision", ON_BOTH_STORES)
def test_a_filled_store_keeps_every_row_and_value_on_both_kinds_of_store(empty_store: Settings, revision: str):
    _keeps_every_row_and_value(empty_store, revision)


@sqlite_only
def test_the_filled_store_has_rows_in_every_table_and_column(empty_store: Settings):
    """The same of the newest version, which the tests above do not begin with."""
    migrate_url_to(empty_store.store_url, REVISIONS[-1])
    engine = plain_engine(empty_store.store_url)
    with engine.begin() as connection:
        fill(connection, REVISIONS[-1])
    _has_rows_in_every_table_and_column(engine, contents(engine), REVISIONS[-1])


def _has_rows_in_every_table_and_column(engine: Engine, found: Contents, revision: str) -> None:
    """Otherwise the tests would say nothing of them."""
    for table, rows in found.items():
        assert rows or table in WRITTEN_BY_THE_STORE, f"no row of {table} in tests/storage/filled_store.py"
    told = {(table, name) for table, row in filled_rows(revision) for name in row}
    with engine.connect() as connection:
        for table in set(inspect(connection).get_table_names()) - {"alembic_version"} - WRITTEN_BY_THE_STORE:
            for column in inspect(connection).get_columns(table):
                if not column["nullable"]:
                    assert (table, column["name"]) in told, f"{table}.{column['name']} is not filled"


def _keeps_every_row_and_value(empty_store: Settings, revision: str) -> Contents:
    """What the store held before it was brought up to date."""
    migrate_url_to(empty_store.store_url, revision)
    engine = plain_engine(empty_store.store_url)
    with engine.begin() as connection:
        fill(connection, revision)
    columns = columns_of(engine)
    before = contents(engine, columns)
    _has_rows_in_every_table_and_column(engine, before, revision)
    open_store(empty_store).dispose()
    after = contents(engine, columns)
    assert {table: len(rows) for table, rows in after.items()} == {table: len(rows) for table, rows in before.items()}
    for table, rows in before.items():
        assert after[table] == rows, table
    with engine.connect() as connection:
        assert connection.scalar(text("SELECT version_num FROM alembic_version")) == REVISIONS[-1]
        if engine.dialect.name == "sqlite":
            assert connection.exec_driver_sql("PRAGMA foreign_key_check").fetchall() == []
            assert connection.exec_driver_sql("PRAGMA integrity_check").fetchall() == [("ok",)]
    return before


@sqlite_only
@pytest.mark.parametrize("usable", [0, 1])
def test_an_unusable_trial_of_an_earlier_method_loses_its_numbers_and_the_removal_is_recorded(tmp_path, usable: int):
    migrate_to(tmp_path / "bench.sqlite", "0023")
    with plain_engine(f"sqlite:///{tmp_path}/bench.sqlite").begin() as connection:
        fill(connection, "0023")
        connection.execute(text(f"UPDATE channel_results SET usable = {usable}"))
        connection.execute(text("UPDATE setting_summaries SET time_to_clear_min = 9.0"))
        message = "No measurable cleaning: 19.3 m³/h"
        connection.execute(text(f"UPDATE result_notes SET code = 'no_measurable_cleaning', message = '{message}'"))
    engine = open_store(Settings(tmp_path))
    with session_scope(engine) as session:
        (result,) = session.scalars(select(ChannelResult))
        (summary,) = session.scalars(select(SettingSummary))
        numbers = (result.total_decay_per_h, result.not_cleared_before_min, summary.time_to_clear_min)
        changes = {(c.field, c.before, c.after) for c in changes_of(session, "trial", 2) if c.action == "recomputed"}
        notes = session.scalars(select(ResultNote.message)).all()
    engine.dispose()
    if usable:
        assert (numbers, changes, notes) == ((5.0, 0.1, 9.0), set(), [message])
        return
    assert (numbers, notes) == ((None, None, None), [])
    assert changes == {("pm2_5 total_decay_per_h", "5", None), ("pm2_5 not_cleared_before_min", "0.1", None)}


@sqlite_only
def test_results_stored_before_their_uncertainty_was_known_are_shown(tmp_path: Path):
    migrate_to(tmp_path / "bench.sqlite", BEFORE_FIRST)
    with plain_engine(f"sqlite:///{tmp_path}/bench.sqlite").begin() as connection:
        fill(connection, BEFORE_FIRST)
        connection.execute(text("UPDATE channel_results SET start_level_uncertainty = NULL"))
    engine = open_store(Settings(tmp_path))
    with session_scope(engine) as session:
        assert [thing.id for thing in list_trash(session).things] == [2, 2]
        (line,) = rank_units(current_snapshot(session)).lines
        assert line.row.total_decay_per_h == 5.0
        assert trial_detail(session, 2).channels[0].start_level is None
    engine.dispose()


@pytest.mark.parametrize("revision", ["0001", "0012"])
def test_a_store_older_than_the_first_revision_is_refused_and_stays_as_it_was(empty_store: Settings, revision: str):
    migrate_url_to(empty_store.store_url, revision)
    engine = plain_engine(empty_store.store_url)
    with engine.begin() as connection:
        fill(connection, revision)
    before, files = contents(engine), _files(empty_store.data_folder)
    with pytest.raises(StoreProblem) as refused:
        open_store(empty_store)
    where = "The database" if empty_store.database_url else f"{empty_store.data_folder}/bench.sqlite"
    assert refused.value.message == (
        f"{where} was made by a version before 0.2.0: its store version is {revision}, and this program reads 0013 and "
        "newer. Open it once with the last 0.1.0, which brings it up to date, and then with this program."
    )
    assert _files(empty_store.data_folder) == files
    assert contents(engine) == before
    with engine.connect() as connection:
        assert connection.scalar(text("SELECT version_num FROM alembic_version")) == revision


def _files(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in folder.iterdir()}


def test_an_earlier_copy_is_never_overwritten(tmp_path: Path):
    path = tmp_path / "bench.sqlite"
    migrate_to(path, BEFORE_FIRST)
    earlier = tmp_path / f"bench.sqlite.before-{REVISIONS[-1]}"
    earlier.write_bytes(b"an earlier copy")
    open_store(Settings(tmp_path)).dispose()
    assert earlier.read_bytes() == b"an earlier copy"
    assert (tmp_path / f"{earlier.name}.2").exists()


def test_a_store_at_the_newest_version_is_opened_without_a_copy(settings: Settings):
    open_store(settings).dispose()
    assert list(settings.data_folder.glob("*before*")) == []


@sqlite_only
def test_a_migration_that_fails_leaves_the_store_as_it_was(settings: Settings, failing_migrations: str):
    path = settings.data_folder / "bench.sqlite"
    before = _row_counts(path)
    with pytest.raises(StoreProblem, match="cannot be opened: no such table: no_such_table"):
        open_store(settings)
    assert _row_counts(path) == before
    assert (settings.data_folder / f"bench.sqlite.before-{failing_migrations}").exists()


def test_a_migration_that_would_leave_broken_references_is_not_carried_out(tmp_path: Path):
    path = tmp_path / "bench.sqlite"
    migrate_to(path, BEFORE_FIRST)
    with closing(sqlite3.connect(path)) as store:  # foreign keys are off on a plain connection
        store.execute("INSERT INTO prices VALUES (1, 77, 99.0, 'USD', '2026-01-01', '')")
        store.commit()
    with pytest.raises(StoreProblem) as refused:
        open_store(Settings(tmp_path))
    assert refused.value.message == (
        f"{path} holds 1 rows that refer to a missing row, the first in table prices. The migration "
        f"was cancelled and the store is unchanged. Run `hazefall check` to list them."
    )
    with closing(sqlite3.connect(path)) as store:
        assert store.execute("SELECT version_num FROM alembic_version").fetchone() == (BEFORE_FIRST,)


def test_two_processes_that_open_an_old_store_together_both_get_it(tmp_path: Path):
    from concurrent.futures import ThreadPoolExecutor

    migrate_to(tmp_path / "bench.sqlite", BEFORE_FIRST)
    with ThreadPoolExecutor(4) as pool:
        engines = [pool.submit(open_store, Settings(tmp_path)) for _ in range(4)]
        for engine in engines:
            with engine.result().connect() as connection:
                assert connection.scalar(text("SELECT count(*) FROM bench")) == 1
            engine.result().dispose()
    assert len(list(tmp_path.glob("*before*"))) == 1
