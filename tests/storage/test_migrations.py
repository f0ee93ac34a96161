"""The migrations give the tables of the models, and keep every row on the way."""

import shutil
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
from alembic import command
from alembic.config import Config
from sqlalchemy import Engine, create_engine, inspect, text

from app.bundled_files import bundled_folder
from app.errors import StoreProblem
from app.services import open_store as opening
from app.services.open_store import open_store
from app.services.store_revisions import read_store_revisions
from app.settings import Settings
from app.storage.tables import METADATA
from tests.conftest import sqlite_only
from tests.storage.migrated import migrate_to

REVISIONS = sorted(read_store_revisions(bundled_folder("migrations")).known)


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


def _fill_first_bench(path: Path) -> None:
    """Rows in tables that refer to one another, so that a table rebuilt with foreign keys on would lose some."""
    with closing(sqlite3.connect(path)) as store:
        store.execute("PRAGMA foreign_keys = ON")
        store.executescript(
            f"""
            INSERT INTO bench (id, name, invented, scenario, timezone, currency, clear_level_kind, clear_level_value,
              standard_distance_m, sound_correction_rule, natural_decay_stale_after_days, hours_per_day, days_per_year,
              main_channel, publication, publication_font, publication_ink, publication_accent)
              VALUES (1, 'Desk', 0, '', 'UTC', 'USD', 'absolute', 10.0, 1.0, 'ISO 3746', 180, 24.0, 365.0, 'pm2_5',
              '', '', '', '');
            INSERT INTO rooms (id, name, room_volume_m3, room_volume_uncertainty_m3, furniture, notes)
              VALUES (1, 'Room A', 30.0, 0.5, '', '');
            INSERT INTO units_under_test (id, maker, model, kind, makes_ozone, consumables_state, bought_from,
              serial_number, notes, created_at) VALUES (1, 'Maker A', 'Model 1', 'other', 0, 'unknown', '', '', '',
              '2026-01-01T00:00:00.000000Z');
            INSERT INTO speed_settings (id, unit_under_test_id, name, position, is_highest) VALUES (1, 1, 'high', 1, 1);
            INSERT INTO prices (id, unit_under_test_id, amount, currency, seen_on, source)
              VALUES (1, 1, 99.0, 'USD', '2026-01-01', '');
            INSERT INTO raw_files (sha256, size_bytes, content, stored_at)
              VALUES ('{"a" * 64}', 3, x'010203', '2026-01-01T00:00:00.000000Z');
            INSERT INTO logs (id, sha256, file_name, encoding, delimiter, decimal_mark, header_line, timezone, box,
              started_at, clock_is_known, interval_s, readings, rows_skipped, notes, stored_at)
              VALUES (1, '{"a" * 64}', 'log.csv', 'utf-8', ',', '.', 1, 'UTC', '', '2026-01-01T00:00:00.000000Z', 1,
              10.0, 2, 0, '', '2026-01-01T00:00:00.000000Z');
            INSERT INTO log_channels (log_id, position, channel, unit, file_header, file_unit, held_values)
              VALUES (1, 0, 'pm2_5', 'µg/m³', 'PM2.5', 'µg/m³', 0);
            INSERT INTO readings (log_id, block, "row", elapsed_s, value_01) VALUES (1, 0, 0, 0.0, 5.0),
              (1, 0, 1, 10.0, 6.0);
            INSERT INTO trials (id, kind, unit_under_test_id, setting_id, room_id, log_id, started_at, tested_by,
              filter_state, notes, excluded_by, excluded_why, created_at) VALUES (1, 'unit running', 1, 1, 1, 1,
              '2026-01-01T00:00:00.000000Z', '', '', '', '', '', '2026-01-01T00:00:00.000000Z');
            INSERT INTO channel_results (id, trial_id, channel, unit, method_version, computed_at, usable, unit_on_s,
              unit_on_found, end_s, interval_s, readings, start_level, peak_level, end_level, fit_converged, why_not,
              background_choice, readings_fitted, clear_level, cleared) VALUES (1, 1, 'pm2_5', 'µg/m³', '1.0',
              '2026-01-01T00:00:00.000000Z', 1, 0.0, 1, 10.0, 10.0, 2, 5.0, 5.0, 6.0, 0, '', '', 0, 10.0, 0);
            INSERT INTO result_notes (result_id, position, code, severity, message, unit)
              VALUES (1, 0, 'no_decay', 'unusable', 'too short', '');
            INSERT INTO changes (id, at, who, action, subject, subject_id, field, why)
              VALUES (1, '2026-01-01T00:00:00.000000Z', 'Ann', 'added', 'trial', 1, '', '');
            """
        )
        store.commit()


def _row_counts(path: Path) -> dict[str, int]:
    with closing(sqlite3.connect(path)) as store:
        tables = [
            row[0]
            for row in store.execute("SELECT name FROM sqlite_master WHERE type = 'table'")
            if not row[0].startswith(("sqlite_", "alembic"))
        ]
        return {table: store.execute(f"SELECT count(*) FROM {table}").fetchone()[0] for table in tables}


@pytest.mark.parametrize("revision", REVISIONS[:-1])
def test_a_filled_store_of_an_earlier_version_keeps_every_row(tmp_path: Path, revision: str):
    path = tmp_path / "bench.sqlite"
    migrate_to(path, "0001")
    _fill_first_bench(path)
    migrate_to(path, revision)
    before = _row_counts(path)
    open_store(Settings(tmp_path)).dispose()
    after = _row_counts(path)
    assert {table: after[table] for table in before} == before
    assert after["readings"] == 2
    assert after["result_notes"] == 1
    with closing(sqlite3.connect(path)) as store:
        assert store.execute("PRAGMA foreign_key_check").fetchall() == []
        assert store.execute("SELECT version_num FROM alembic_version").fetchone() == (REVISIONS[-1],)


def test_the_old_file_is_copied_before_it_is_migrated(tmp_path: Path):
    path = tmp_path / "bench.sqlite"
    migrate_to(path, "0001")
    _fill_first_bench(path)
    open_store(Settings(tmp_path)).dispose()
    copy = tmp_path / f"bench.sqlite.before-{REVISIONS[-1]}"
    with closing(sqlite3.connect(copy)) as store:
        assert store.execute("SELECT version_num FROM alembic_version").fetchone() == ("0001",)
        assert store.execute("SELECT count(*) FROM trials").fetchone() == (1,)


def test_an_earlier_copy_is_never_overwritten(tmp_path: Path):
    path = tmp_path / "bench.sqlite"
    migrate_to(path, "0001")
    earlier = tmp_path / f"bench.sqlite.before-{REVISIONS[-1]}"
    earlier.write_bytes(b"an earlier copy")
    open_store(Settings(tmp_path)).dispose()
    assert earlier.read_bytes() == b"an earlier copy"
    assert (tmp_path / f"{earlier.name}.2").exists()


def test_a_store_at_the_newest_version_is_opened_without_a_copy(settings: Settings):
    open_store(settings).dispose()
    assert list(settings.data_folder.glob("*before*")) == []


@pytest.fixture
def failing_migrations(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> str:
    """The migrations with one more that makes a table and then fails."""
    folder = tmp_path / "migrations"
    shutil.copytree(bundled_folder("migrations"), folder)
    (folder / "versions" / "9999_fails.py").write_text(
        "from alembic import op\nimport sqlalchemy as sa\n"
        f'revision = "9999"\ndown_revision = "{REVISIONS[-1]}"\n'
        'def upgrade():\n    op.create_table("half_done", sa.Column("id", sa.Integer()))\n'
        '    op.execute("INSERT INTO no_such_table VALUES (1)")\n'
    )
    monkeypatch.setattr(opening, "bundled_folder", lambda _name: folder)
    return "9999"


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
    migrate_to(path, "0001")
    with closing(sqlite3.connect(path)) as store:  # foreign keys are off on a plain connection
        store.execute("INSERT INTO prices VALUES (1, 77, 99.0, 'USD', '2026-01-01', '')")
        store.commit()
    with pytest.raises(StoreProblem) as refused:
        open_store(Settings(tmp_path))
    assert refused.value.message == (
        f"{path} holds 1 rows that refer to a missing row, the first in table prices. The migration was not carried "
        "out and the store is as it was. Run `hazefall check` to list them."
    )
    with closing(sqlite3.connect(path)) as store:
        assert store.execute("SELECT version_num FROM alembic_version").fetchone() == ("0001",)


def test_two_processes_that_open_an_old_store_together_both_get_it(tmp_path: Path):
    from concurrent.futures import ThreadPoolExecutor

    migrate_to(tmp_path / "bench.sqlite", "0001")
    with ThreadPoolExecutor(4) as pool:
        engines = [pool.submit(open_store, Settings(tmp_path)) for _ in range(4)]
        for engine in engines:
            with engine.result().connect() as connection:
                assert connection.scalar(text("SELECT count(*) FROM bench")) == 1
            engine.result().dispose()
    assert len(list(tmp_path.glob("*before*"))) == 1
