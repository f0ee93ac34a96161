"""The store counts each change of what the ranking, the costs and the advice rest on, whoever makes it."""

import pytest
from sqlalchemy import Engine, text
from sqlalchemy.orm import Session

from app.storage.engine import session_scope
from app.storage.models.bench import WHOLE_BENCH
from tests.sample_data.ranked_bench import RankedBench, fill

OF_UNITS = (
    "units_under_test",
    "speed_settings",
    "prices",
    "consumables",
    "consumable_prices",
    "sound_measurements",
    "power_measurements",
    "setting_summaries",
    "trials",
    "ratings",
    "claims",
    "ozone_tests",
)
SHARED = ("bench", "tariffs", "rooms", "natural_decay_pools", "natural_decay_pool_runs")


@pytest.fixture
def bench(store: Engine) -> RankedBench:
    with session_scope(store) as session:
        return fill(session)


def counts(store: Engine) -> dict[int, int]:
    with store.connect() as connection:
        return dict(connection.execute(text("SELECT unit_under_test_id, changes FROM unit_changes")).all())


def run(store: Engine, statement: str, **values: object) -> None:
    with store.begin() as connection:
        connection.execute(text(statement), values)


@pytest.mark.parametrize("table", [*OF_UNITS, *SHARED])
def test_every_such_table_counts_what_is_added_altered_and_removed(store: Engine, table: str):
    """A migration that makes a table anew takes its triggers away without a word; this is where it shows."""
    asked = {
        "sqlite": "SELECT name FROM sqlite_master WHERE type = 'trigger' AND tbl_name = :table",
        "postgresql": "SELECT tgname FROM pg_trigger WHERE tgrelid = CAST(:table AS regclass)",
    }
    with store.connect() as connection:
        found = connection.execute(text(asked[store.dialect.name]), {"table": table}).scalars()
        assert {f"{table}_count_{event}" for event in ("insert", "update", "delete")} <= set(found)


CHANGES = [
    "UPDATE units_under_test SET model = 'Other' WHERE id = :unit",
    "UPDATE speed_settings SET name = name || ' now' WHERE unit_under_test_id = :unit",
    "INSERT INTO speed_settings (unit_under_test_id, name, position, is_highest) VALUES (:unit, 'night', 9, 0)",
    "UPDATE prices SET amount = 1 WHERE unit_under_test_id = :unit",
    "DELETE FROM prices WHERE unit_under_test_id = :unit",
    "UPDATE sound_measurements SET level_dba = 1 WHERE unit_under_test_id = :unit",
    "DELETE FROM power_measurements WHERE unit_under_test_id = :unit",
    "UPDATE setting_summaries SET trials = 7 WHERE unit_under_test_id = :unit",
    "DELETE FROM setting_summaries WHERE unit_under_test_id = :unit",
    "DELETE FROM units_under_test WHERE id = :unit",
]


@pytest.mark.parametrize("statement", CHANGES)
def test_a_change_counts_for_its_unit_and_for_the_bench_and_for_no_other(
    store: Engine, bench: RankedBench, statement: str
):
    before = counts(store)
    run(store, statement, unit=bench.units["Strong"])
    moved = {unit for unit, count in counts(store).items() if count != before.get(unit)}
    assert moved == {WHOLE_BENCH, bench.units["Strong"]}


def test_the_price_of_a_part_counts_for_the_unit_of_the_part(store: Engine, bench: RankedBench):
    unit = bench.units["Weak"]
    run(
        store,
        "INSERT INTO consumables (id, unit_under_test_id, name, kind, washable, pieces_in_use, pack_size, "
        "life_source, notes) VALUES (1, :unit, 'filter', 'filter', 0, 1, 1, '', '')",
        unit=unit,
    )
    before = counts(store)
    run(
        store,
        "INSERT INTO consumable_prices (consumable_id, amount, currency, seen_on, source) "
        "VALUES (1, 20, 'USD', '2026-01-05', '')",
    )
    run(store, "DELETE FROM consumables WHERE id = 1")  # takes its price along
    after = counts(store)
    assert after[unit] >= before[unit] + 2
    assert {key for key in after if after[key] != before.get(key)} == {WHOLE_BENCH, unit}


def test_what_moves_from_one_unit_to_another_counts_for_both(store: Engine, bench: RankedBench):
    before = counts(store)
    run(store, "UPDATE prices SET unit_under_test_id = :to WHERE unit_under_test_id = :unit",
        unit=bench.units["Strong"], to=bench.units["Untried"])  # fmt: skip
    moved = {unit for unit, count in counts(store).items() if count != before.get(unit)}
    assert moved == {WHOLE_BENCH, bench.units["Strong"], bench.units["Untried"]}


@pytest.mark.parametrize("statement", ["UPDATE bench SET hours_per_day = 5", "UPDATE rooms SET name = 'B'"])
def test_what_all_units_share_counts_for_the_bench_alone(store: Engine, bench: RankedBench, statement: str):
    before = counts(store)
    run(store, statement)
    assert {unit for unit, count in counts(store).items() if count != before.get(unit)} == {WHOLE_BENCH}


def test_a_change_that_is_rolled_back_counts_for_nothing(store: Engine, bench: RankedBench, session: Session):
    before = counts(store)
    with store.connect() as connection, connection.begin() as change:
        connection.execute(text("UPDATE prices SET amount = 2"))
        change.rollback()
    assert counts(store) == before


def test_each_commit_is_a_later_version_also_of_a_transaction_that_began_earlier(store: Engine, bench: RankedBench):
    """A program beside this one may hold a transaction open while others commit."""
    unit = bench.units["Strong"]
    seen = [counts(store)]
    if store.dialect.name == "postgresql":
        early = store.connect()
        early.execute(text("SELECT pg_current_xact_id()"))
    run(store, "UPDATE prices SET amount = 3 WHERE unit_under_test_id = :unit", unit=unit)
    seen.append(counts(store))
    if store.dialect.name == "postgresql":
        for amount in (4, 5):
            early.execute(text(f"UPDATE prices SET amount = {amount} WHERE unit_under_test_id = {unit}"))
        early.commit()
        early.close()
        seen.append(counts(store))
        run(store, "UPDATE prices SET amount = 6 WHERE unit_under_test_id = :unit", unit=unit)
        seen.append(counts(store))
    for key in (WHOLE_BENCH, unit):
        versions = [each[key] for each in seen]
        assert versions == sorted(set(versions))


def test_a_transaction_of_many_statements_counts_after_a_savepoint_was_rolled_back(store: Engine, bench: RankedBench):
    unit = bench.units["Strong"]
    before = counts(store)
    with store.connect() as connection, connection.begin():
        with connection.begin_nested() as attempt:
            connection.execute(text("UPDATE prices SET amount = 2 WHERE unit_under_test_id = :unit"), {"unit": unit})
            attempt.rollback()
        connection.execute(text("UPDATE prices SET amount = 3 WHERE unit_under_test_id = :unit"), {"unit": unit})
    assert counts(store)[unit] > before[unit]
