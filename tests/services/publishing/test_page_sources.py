"""A page is made again exactly when rows that it may show have changed."""

import shutil
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest
from sqlalchemy import Engine, text

from app.services.publishing.page_sources import _NOT_SHOWN, PageSources, read_page_sources
from app.services.store.open import open_store
from app.settings import Settings
from app.storage.engine import session_scope
from app.storage.models.all_models import METADATA


@pytest.fixture(scope="module")
def bench(demo_template: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Engine]:
    """A copy of the small demonstration bench. Every test puts back what it alters."""
    folder = tmp_path_factory.mktemp("sources")
    shutil.copyfile(demo_template, folder / "bench.sqlite")
    engine = open_store(Settings(folder))
    yield engine
    engine.dispose()


def _sources(bench: Engine) -> PageSources:
    with session_scope(bench, writes=False) as session:
        return read_page_sources(session)


def _altered(bench: Engine, table: str, column: str, where: str = "true") -> PageSources:
    """The sources while one value of a row is another one, whatever the table allows."""
    with closing(sqlite3.connect(bench.url.database or "")) as store:
        store.execute("PRAGMA ignore_check_constraints = ON")
        ((row, value),) = store.execute(f"SELECT rowid, {column} FROM {table} WHERE {where} LIMIT 1")
        other = value + 1 if isinstance(value, int | float) else f"{value}x"
        store.execute(f"UPDATE {table} SET {column} = ? WHERE rowid = ?", (other, row))
        store.commit()
        found = _sources(bench)
        store.execute(f"UPDATE {table} SET {column} = ? WHERE rowid = ?", (value, row))
        store.commit()
    return found


def test_every_table_counts_unless_no_page_shows_it(bench: Engine):
    before, tried = _sources(bench), 0
    with session_scope(bench, writes=False) as session:
        filled = [t for t in METADATA.sorted_tables if session.scalar(text(f"SELECT count(*) FROM {t.name}"))]
    for table in filled:
        free = [c.name for c in table.columns if not c.primary_key and not c.foreign_keys and str(c.type) != "BLOB"]
        if table.name == "changes" or table.name in _NOT_SHOWN or not free:  # the store lets nobody alter a change
            continue
        assert _altered(bench, table.name, free[0], f"{free[0]} IS NOT NULL").whole != before.whole, table.name
        tried += 1
    assert tried > 18
    assert _sources(bench) == before


def _differing(before: PageSources, after: PageSources) -> tuple[set[int], set[int]]:
    return (
        {one for one in before.units if before.units[one] != after.units[one]},
        {one for one in before.trials if before.trials[one] != after.trials[one]},
    )


def test_a_row_of_a_trial_concerns_the_trial_and_its_unit(bench: Engine):
    with session_scope(bench, writes=False) as session:
        trial, unit = session.execute(
            text("SELECT id, unit_under_test_id FROM trials WHERE unit_under_test_id IS NOT NULL LIMIT 1")
        ).one()
    before = _sources(bench)
    for table, column in (("channel_results", "start_level"), ("result_notes", "message")):
        where = "trial_id = {0}" if table == "channel_results" else (
            "result_id IN (SELECT id FROM channel_results WHERE trial_id = {0})"
        )  # fmt: skip
        after = _altered(bench, table, column, where.format(trial))
        assert _differing(before, after) == ({unit}, {trial}), table
    log = f"id = (SELECT log_id FROM trials WHERE id = {trial})"
    assert _differing(before, _altered(bench, "logs", "file_name", log)) == ({unit}, {trial})


def test_what_all_pages_share_concerns_all_and_the_price_of_electricity_no_trial(bench: Engine):
    before = _sources(bench)
    everything = set(before.units), set(before.trials)
    assert _differing(before, _altered(bench, "rooms", "name")) == everything
    assert _differing(before, _altered(bench, "tariffs", "region")) == (everything[0], set())


def test_a_row_of_a_unit_concerns_no_other_unit(bench: Engine):
    before = _sources(bench)
    (unit, *_), (_, *_) = before.units, before.trials
    assert _differing(before, _altered(bench, "prices", "amount", f"unit_under_test_id = {unit}")) == ({unit}, set())
    units, trials = _differing(before, _altered(bench, "units_under_test", "model", f"id = {unit}"))
    assert units == {unit}
    assert trials  # the pages of its trials name it
