"""What is kept of the bench says what the store says, after every change, and only what changed is read anew."""

import subprocess
import sys
from collections.abc import Collection

import pytest
from sqlalchemy import Engine, text, update
from sqlalchemy.orm import Session

from app.services.costs.cost_of_owning import cost_of_owning
from app.services.ranking.rank_intervals import RANKED_BY, rank_view
from app.services.ranking.room_advice import advice_for_room
from app.services.ranking.table import rank_units
from app.services.snapshot.choices import EVERY, RankingChoices
from app.services.snapshot.read_cache import bench_state, forget_kept, kept, kept_by_unit
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
    """All that is made from kept readings, in forms that compare by value."""
    ranking = rank_units(session, RankingChoices(setting=EVERY))
    highest = rank_units(session)
    owning = cost_of_owning(session)
    return (
        [(line.row, line.sound, line.cost) for line in ranking.lines],
        [(line.row, line.sound, line.cost) for line in highest.lines],
        (ranking.offered, ranking.removed, ranking.kinds),
        owning,
        advice_for_room(session),
        list_units(session),
        list_units(session, trashed=True),
        [_order(session, by) for by in RANKED_BY],
    )


def _order(session: Session, by: str) -> tuple[object, ...]:
    view = rank_view(session, by=by)
    lines = [(one.row, one.line.row, one.line.sound, one.line.cost) for one in view.lines]
    without = [line.row for line in view.without_value]
    return lines, without, [[one.row.key for one in group] for group in view.groups], view.names


def as_kept(store: Engine) -> tuple[object, ...]:
    with session_scope(store, writes=False) as session:
        return everything(session)


def as_read(store: Engine) -> tuple[object, ...]:
    """A session that writes keeps nothing and is served nothing that is kept."""
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
]


@pytest.mark.parametrize("statement", CHANGES)
def test_what_is_kept_is_what_the_store_says_after_a_change(store: Engine, bench: RankedBench, statement: str):
    before = as_kept(store)
    assert before == as_read(store)
    with store.begin() as connection:
        connection.execute(text(statement), {"unit": bench.units["Strong"]} if ":unit" in statement else {})
    assert as_kept(store) == as_read(store) != before


def test_a_new_unit_stands_in_its_place(store: Engine, bench: RankedBench):
    as_kept(store)
    with session_scope(store) as session:
        unit, setting = add_unit_with_setting(session, "Aardvark")
        add_price(session, unit, 30.0)
        add_sound(session, unit, setting, 31.0)
    assert as_kept(store) == as_read(store)


@sqlite_only("the other process opens the file")
def test_a_change_of_another_process_is_seen(store: Engine, bench: RankedBench):
    before = as_kept(store)
    change = (
        "import sqlite3, sys; c = sqlite3.connect(sys.argv[1]); c.execute('UPDATE prices SET amount = 77'); c.commit()"
    )
    subprocess.run([sys.executable, "-c", change, str(store.url.database)], check=True)
    after = as_kept(store)
    assert after == as_read(store) != before


def test_a_session_that_was_there_before_the_change_goes_on_with_what_it_saw(store: Engine, bench: RankedBench):
    with session_scope(store, writes=False) as earlier:
        before = everything(earlier)
        with session_scope(store) as writing:
            writing.execute(update(Price).values(amount=3.0))
        after = as_kept(store)
        assert everything(earlier) == before != after
    assert as_kept(store) == after


class Asked:
    """Reads the models of the units, and remembers which it was asked for."""

    def __init__(self, session: Session) -> None:
        self.session = session
        self.units: list[set[int] | None] = []

    def __call__(self, unit_ids: Collection[int] | None) -> dict[int, list[str]]:
        self.units.append(None if unit_ids is None else set(unit_ids))
        rows = self.session.query(UnitUnderTest.id, UnitUnderTest.model).all()
        return {unit: [model] for unit, model in rows if unit_ids is None or unit in unit_ids}


def models(store: Engine) -> tuple[dict[int, list[str]], list[set[int] | None]]:
    with session_scope(store, writes=False) as session:
        asked = Asked(session)
        return dict(kept_by_unit(session, "models", asked)), asked.units


@sqlite_only("PostgreSQL does not tell which unit changed")
def test_only_the_units_that_changed_are_read_anew(store: Engine, bench: RankedBench):
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


@sqlite_only("PostgreSQL does not tell which unit changed")
def test_a_unit_that_is_gone_is_kept_no_more(store: Engine, bench: RankedBench):
    first, _ = models(store)
    with store.begin() as connection:
        connection.execute(text("DELETE FROM units_under_test WHERE id = :unit"), {"unit": bench.units["Weak"]})
    second, asked = models(store)
    assert asked == [{bench.units["Weak"]}]
    assert second == {unit: model for unit, model in first.items() if unit != bench.units["Weak"]}


@sqlite_only("PostgreSQL does not tell which unit changed")
def test_a_change_of_what_is_shared_reads_no_unit_anew(store: Engine, bench: RankedBench):
    models(store)
    with store.begin() as connection:
        connection.execute(text("UPDATE bench SET hours_per_day = 4"))
    assert models(store)[1] == []


def test_a_session_that_writes_keeps_nothing(store: Engine, bench: RankedBench):
    with session_scope(store) as session:
        assert bench_state(session) is None
        answers = iter((1, 2))
        assert [kept(session, "number", lambda: next(answers)) for _ in range(2)] == [1, 2]


@sqlite_only("the mark of a database server moves with any of its databases, and what is kept is then read anew")
def test_what_is_kept_is_kept_until_it_is_forgotten(store: Engine, bench: RankedBench):
    answers = iter((1, 2))

    def asked() -> int:
        with session_scope(store, writes=False) as session:
            return kept(session, "number", lambda: next(answers))

    assert [asked(), asked()] == [1, 1]
    with session_scope(store, writes=False) as session:
        forget_kept(session)
    assert asked() == 2
