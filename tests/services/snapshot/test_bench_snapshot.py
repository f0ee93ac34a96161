"""A snapshot gives what the store holds, after every change, and reads again only what changed."""

import subprocess
import sys
from collections.abc import Collection
from dataclasses import fields

import pytest
from sqlalchemy import Engine, text, update
from sqlalchemy.orm import Session

from app.services.costs.cost_of_owning import cost_of_owning
from app.services.history.latest_data_date import EVERYTHING, latest_data_date
from app.services.ranking import table
from app.services.ranking.extra_columns import extra_facts
from app.services.ranking.rank_intervals import RANKED_BY, LineRank, RankView, rank_view
from app.services.ranking.room_advice import advice_for_room
from app.services.ranking.rows import RankedSetting
from app.services.ranking.table import Ranking, rank_units
from app.services.snapshot.bench_snapshot import BenchSnapshot, current_snapshot, forget_snapshot
from app.services.snapshot.choices import EVERY, RankingChoices
from app.services.units.list import list_units
from app.storage.engine import session_scope
from app.storage.models.units_under_test import Price, UnitUnderTest
from tests.conftest import sqlite_only
from tests.sample_data.measured_facts import add_price, add_sound, add_unit_with_setting
from tests.sample_data.ranked_bench import RankedBench, fill


@pytest.fixture
def bench(store: Engine) -> RankedBench:
    with session_scope(store) as session:
        return fill(session)


def everything(session: Session) -> tuple[object, ...]:
    """All that is computed from a snapshot."""
    snapshot = current_snapshot(session)
    highest = rank_units(snapshot)
    found = (
        rank_units(snapshot, RankingChoices(setting=EVERY)),
        highest,
        extra_facts(snapshot, highest.lines),
        [latest_data_date(snapshot, [kind]) for kind in EVERYTHING],
        cost_of_owning(snapshot),
        advice_for_room(snapshot),
        list_units(snapshot),
        list_units(snapshot, trashed=True),
        [_order(rank_view(snapshot, by=by)) for by in RANKED_BY],
    )
    return tuple(_contents(each) for each in found)


def _contents(value: object) -> object:
    """Nested lists and fields, with what the lines of a ranking compute when they are asked."""
    if isinstance(value, RankedSetting):
        return value.row, value.sound, value.cost, value.shift
    if isinstance(value, tuple | list):
        return [_contents(each) for each in value]
    if isinstance(value, Ranking | LineRank):
        return [_contents(getattr(value, field.name)) for field in fields(value)]
    return value


def _order(view: RankView) -> tuple[object, ...]:
    return view.lines, view.without_value, view.groups, view.names


def from_snapshot(store: Engine) -> tuple[object, ...]:
    with session_scope(store, writes=False) as session:
        return everything(session)


def from_store(store: Engine) -> tuple[object, ...]:
    """A session that writes caches nothing."""
    with session_scope(store) as session:
        return everything(session)


CHANGES = [
    "UPDATE units_under_test SET model = 'Aaa' WHERE id = :unit",
    "UPDATE units_under_test SET trashed_at = '2026-01-05T10:00:00Z' WHERE id = :unit",
    "DELETE FROM units_under_test WHERE id = :unit",
    "UPDATE speed_settings SET is_highest = 0 WHERE unit_under_test_id = :unit",
    "UPDATE speed_settings SET name = 'night' WHERE unit_under_test_id = :unit AND position = 0",
    "UPDATE prices SET amount = 5 WHERE unit_under_test_id = :unit",
    "UPDATE prices SET currency = 'SEK' WHERE unit_under_test_id = :unit",
    "UPDATE sound_measurements SET level_dba = 20 WHERE unit_under_test_id = :unit",
    "UPDATE power_measurements SET power_w = 500 WHERE unit_under_test_id = :unit",
    "UPDATE setting_summaries SET clean_air_delivery_rate_m3_per_h = 1 WHERE unit_under_test_id = :unit",
    "DELETE FROM setting_summaries WHERE unit_under_test_id = :unit",
    "UPDATE bench SET hours_per_day = 3",
    "UPDATE bench SET standard_distance_m = 3",
    "UPDATE tariffs SET price_per_kwh = 9",
    "UPDATE rooms SET name = 'Another name'",
    "INSERT INTO ozone_tests (unit_under_test_id, ozone_ppb, below_detection, method, tested_on, source) "
    "VALUES (:unit, 50, 0, '', '2026-01-05', '')",
    "INSERT INTO ratings (unit_under_test_id, aerosol, listed, clean_air_delivery_rate_m3_per_h, stated_unit, "
    "sister_model, test_standard, edition, source, seen_on) "
    "VALUES (:unit, 'smoke', 1, 333, 'm³/h', '', '', '', '', '2026-01-05')",
]


def test_a_snapshot_is_what_the_store_holds(store: Engine, bench: RankedBench):
    assert from_snapshot(store) == from_store(store)


@pytest.mark.parametrize("statement", CHANGES)
def test_a_snapshot_is_what_the_store_holds_after_a_change(store: Engine, bench: RankedBench, statement: str):
    before = from_snapshot(store)
    with store.begin() as connection:
        connection.execute(text(statement), {"unit": bench.units["Strong"]} if ":unit" in statement else {})
    assert from_snapshot(store) == from_store(store) != before


def test_a_new_unit_stands_in_its_place(store: Engine, bench: RankedBench):
    from_snapshot(store)
    with session_scope(store) as session:
        unit, setting = add_unit_with_setting(session, "Aardvark")
        add_price(session, unit, 30.0)
        add_sound(session, unit, setting, 31.0)
    assert from_snapshot(store) == from_store(store)


@sqlite_only("the other process opens the file")
def test_a_change_of_another_process_is_seen(store: Engine, bench: RankedBench):
    before = from_snapshot(store)
    change = (
        "import sqlite3, sys; c = sqlite3.connect(sys.argv[1]); c.execute('UPDATE prices SET amount = 77'); c.commit()"
    )
    subprocess.run([sys.executable, "-c", change, str(store.url.database)], check=True)
    after = from_snapshot(store)
    assert after == from_store(store) != before


def test_a_session_that_was_there_before_the_change_goes_on_with_what_it_saw(store: Engine, bench: RankedBench):
    with session_scope(store, writes=False) as earlier:
        before = everything(earlier)
        with session_scope(store) as writing:
            writing.execute(update(Price).values(amount=3.0))
        after = from_snapshot(store)
        assert everything(earlier) == before != after
    assert from_snapshot(store) == after


ASKED: list[set[int] | None] = []


def models_of_units(snapshot: BenchSnapshot, _: None, unit_ids: Collection[int] | None) -> dict[int, list[str]]:
    """The models of the units; remembers which units it was asked for."""
    ASKED.append(None if unit_ids is None else set(unit_ids))
    rows = snapshot.session.query(UnitUnderTest.id, UnitUnderTest.model).all()
    return {unit: [model] for unit, model in rows if unit_ids is None or unit in unit_ids}


def models(store: Engine) -> tuple[dict[int, list[str]], list[set[int] | None]]:
    ASKED.clear()
    with session_scope(store, writes=False) as session:
        return dict(current_snapshot(session).by_unit(models_of_units, None)), list(ASKED)


def test_only_the_units_that_changed_are_read_again(store: Engine, bench: RankedBench):
    first, asked = models(store)
    assert asked == [None]
    assert models(store) == (first, [])
    with session_scope(store) as session:
        session.execute(update(UnitUnderTest).where(UnitUnderTest.model == "Weak").values(model="Weaker"))
    second, asked = models(store)
    assert asked == [{bench.units["Weak"]}]
    assert second[bench.units["Weak"]] == ["Weaker"]
    assert second[bench.units["Strong"]] is first[bench.units["Strong"]]
    assert list(second) == list(first), "each unit keeps its place"


def test_a_unit_that_is_gone_is_in_no_later_snapshot(store: Engine, bench: RankedBench):
    first, _ = models(store)
    with store.begin() as connection:
        connection.execute(text("DELETE FROM units_under_test WHERE id = :unit"), {"unit": bench.units["Weak"]})
    second, asked = models(store)
    assert asked == [{bench.units["Weak"]}]
    assert second == {unit: model for unit, model in first.items() if unit != bench.units["Weak"]}


def test_a_change_of_what_is_shared_reads_no_unit_again(store: Engine, bench: RankedBench):
    models(store)
    with store.begin() as connection:
        connection.execute(text("UPDATE bench SET hours_per_day = 4"))
    assert models(store)[1] == []


def number_of_units(snapshot: BenchSnapshot, _: None) -> list[int]:
    return [snapshot.session.query(UnitUnderTest).count()]


def test_a_session_that_writes_caches_nothing(store: Engine, bench: RankedBench):
    with session_scope(store) as session:
        snapshot = current_snapshot(session)
        assert snapshot.version is None
        (before,) = snapshot.view(number_of_units, None)
        add_unit_with_setting(session, "Aardvark")
        assert snapshot.view(number_of_units, None) == [before + 1]
        assert len(snapshot.by_unit(models_of_units, None)) == before + 1


def test_a_view_is_computed_once_for_a_version(store: Engine, bench: RankedBench):
    def counted() -> list[int]:
        with session_scope(store, writes=False) as session:
            return current_snapshot(session).view(number_of_units, None)

    first = counted()
    assert counted() is first
    with store.begin() as connection:
        connection.execute(text("UPDATE bench SET hours_per_day = 4"))
    assert counted() is not first
    second = counted()
    with session_scope(store, writes=False) as session:
        forget_snapshot(session)
    assert counted() is not second


def test_an_older_transaction_stores_nothing_over_a_newer_snapshot(store: Engine, bench: RankedBench):
    """Both began before either read its version, and the older one asks last."""
    with session_scope(store, writes=False) as older:
        older.execute(text("SELECT count(*) FROM units_under_test"))  # from here on it sees this state
        with session_scope(store) as writing:
            add_unit_with_setting(writing, "Aardvark")
        with session_scope(store, writes=False) as newer:
            (after,) = current_snapshot(newer).view(number_of_units, None)
            assert current_snapshot(older).version < current_snapshot(newer).version
            assert current_snapshot(older).view(number_of_units, None) == [after - 1]
            assert current_snapshot(newer).view(number_of_units, None) == [after]
    with session_scope(store, writes=False) as later:
        assert current_snapshot(later).view(number_of_units, None) == [after]


def test_a_session_in_its_next_transaction_has_the_next_snapshot(store: Engine, bench: RankedBench):
    with Session(store.execution_options(writes=False)) as session:
        (before,) = current_snapshot(session).view(number_of_units, None)
        session.commit()
        with session_scope(store) as writing:
            add_unit_with_setting(writing, "Aardvark")
        assert current_snapshot(session).view(number_of_units, None) == [before + 1]


def test_a_change_that_is_rolled_back_leaves_the_version(store: Engine, bench: RankedBench):
    def version() -> object:
        with session_scope(store, writes=False) as session:
            return current_snapshot(session).version

    before = version()
    with session_scope(store) as session:
        add_unit_with_setting(session, "Aardvark")
        session.rollback()
    assert version() == before


def doubled(snapshot: BenchSnapshot, number: int) -> list[int]:
    return [2 * number]


def test_the_number_of_views_is_bounded(store: Engine, bench: RankedBench):
    with session_scope(store, writes=False) as session:
        snapshot = current_snapshot(session)
        first = snapshot.view(doubled, 0)
        assert snapshot.view(doubled, 0) is first
        for number in range(1, 100):
            snapshot.view(doubled, number)
        assert snapshot.view(doubled, 0) is not first


def test_what_follows_from_values_alone_outlasts_a_change(store: Engine, bench: RankedBench):
    def worked_out() -> list[int]:
        with session_scope(store, writes=False) as session:
            return current_snapshot(session).of_values(sorted, (3, 1, 2))

    first = worked_out()
    with store.begin() as connection:
        connection.execute(text("UPDATE bench SET hours_per_day = 4"))
    assert worked_out() is first
    assert first == [1, 2, 3]


PAGES = (
    RankingChoices(limit=2, offset=1),
    RankingChoices(setting=EVERY, sort="time_to_clear", descending=True),
    RankingChoices(setting="low", search="strong"),
    RankingChoices(sort="name", room_area_m2=20.0, limit=1),
)


def test_a_large_bench_reads_the_whole_of_the_lines_shown_alone(store: Engine, bench: RankedBench, monkeypatch):
    def pages() -> tuple[object, ...]:
        with session_scope(store, writes=False) as session:
            return tuple(_contents(rank_units(current_snapshot(session), choices)) for choices in PAGES)

    whole = pages()
    with session_scope(store, writes=False) as session:
        forget_snapshot(session)
    monkeypatch.setattr(BenchSnapshot, "is_large", True)
    with monkeypatch.context() as without:
        without.setattr(table, "read_ranking_table", None)
        assert pages() == whole
        for statement in (
            "UPDATE prices SET amount = 5 WHERE unit_under_test_id = :unit",
            "UPDATE units_under_test SET trashed_at = '2026-01-05T10:00:00Z' WHERE id = :unit",
        ):
            with store.begin() as connection:
                connection.execute(text(statement), {"unit": bench.units["Strong"]})
            assert pages() != whole
            whole = pages()
    with session_scope(store) as session:
        assert whole == tuple(_contents(rank_units(current_snapshot(session), choices)) for choices in PAGES)


def test_some_units_are_read_alone_and_again_after_a_change(store: Engine, bench: RankedBench):
    def some(*models: str) -> tuple[dict[int, list[str]], list[set[int] | None]]:
        ASKED.clear()
        with session_scope(store, writes=False) as session:
            snapshot = current_snapshot(session)
            return dict(snapshot.some_units(models_of_units, None, [bench.units[m] for m in models])), list(ASKED)

    weak, strong = bench.units["Weak"], bench.units["Strong"]
    assert some("Weak") == ({weak: ["Weak"]}, [{weak}])
    assert some("Strong", "Weak") == ({strong: ["Strong"], weak: ["Weak"]}, [{strong}])
    with store.begin() as connection:
        connection.execute(text("DELETE FROM units_under_test WHERE id = :unit"), {"unit": weak})
    assert some("Weak", "Strong") == ({strong: ["Strong"]}, [{weak}])
    assert some("Weak") == ({}, [])
    models(store)
    assert some("Strong") == ({strong: ["Strong"]}, []), "it is known of all units by now"
