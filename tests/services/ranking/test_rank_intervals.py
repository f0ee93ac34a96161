"""How far the data carry the order of a ranking."""

import pytest
from sqlalchemy import Engine
from sqlalchemy.orm import Session

from app.errors import InvalidValue
from app.services.measurements.definitions import NewOzoneTest
from app.services.measurements.ozone_tests import add_ozone_test
from app.services.ranking.rank_intervals import (
    CLEAN_AIR,
    CLEARING_TIME,
    POWER,
    RUNNING_COST,
    SOUND,
    names_of,
    rank_view,
)
from app.services.snapshot.bench_snapshot import current_snapshot
from app.services.snapshot.choices import RankingChoices
from app.storage.engine import session_scope
from tests.sample_data.compared_bench import ComparedBench, fill
from tests.sample_data.measured_facts import DAY, add_unit_with_setting


@pytest.fixture
def bench(session: Session) -> ComparedBench:
    return fill(session)


def ranks(view):
    return {one.line.row.model: (one.row.place, one.row.rank_low_95, one.row.rank_high_95) for one in view.lines}


@pytest.mark.parametrize("by", [CLEAN_AIR, CLEARING_TIME])
def test_the_order_is_as_sure_as_the_differences_are(session: Session, bench: ComparedBench, by: str):
    """Rates alone overlap by the shared natural decay; Alder is first all the same, Birch and Cedar change places."""
    view = rank_view(current_snapshot(session), by=by)
    assert ranks(view) == {"Alder": (1, 1, 1), "Birch": (2, 2, 3), "Cedar": (3, 2, 3), "Dud": (None, 4, 4)}
    assert [[one.line.row.model for one in group] for group in view.groups] == [["Birch", "Cedar"]]
    assert [line.row.model for line in view.without_value] == ["Elm"]
    assert [one.line.row.model for one in view.measured] == ["Alder", "Birch", "Cedar"]


def test_power_is_ranked_lowest_first(session: Session, bench: ComparedBench):
    view = rank_view(current_snapshot(session), by=POWER)
    assert ranks(view) == {"Birch": (1, 1, 2), "Cedar": (2, 1, 2), "Alder": (3, 3, 3)}


def test_sound_is_ranked_quietest_first_and_one_meter_s_error_moves_no_rank(session: Session, bench: ComparedBench):
    """Alder and Birch were read on one meter and are told apart; Cedar, on another, is not told apart from Alder.

    Of Dud only an upper bound is known, which may be the quietest of all: it has no rank."""
    view = rank_view(current_snapshot(session), by=SOUND)
    found = ranks(view)
    assert found.keys() == {"Alder", "Birch", "Cedar"}
    alder, birch, cedar = (bench.settings[name] for name in ("Alder", "Birch", "Cedar"))
    assert not view.ranks.is_tie(alder, birch)
    assert view.ranks.is_tie(alder, cedar)
    assert "Dud" in [line.row.model for line in view.without_value]


def test_costs_that_are_only_at_least_so_much_stand_last(session: Session, bench: ComparedBench):
    """No consumables are recorded, so every cost is a lower bound."""
    assert {row[0] for row in ranks(rank_view(current_snapshot(session), by=RUNNING_COST)).values()} == {None}


def test_the_filters_of_the_ranking_hold(session: Session, bench: ComparedBench):
    view = rank_view(current_snapshot(session), RankingChoices(max_sound_dba=49.0, limit=1))
    assert set(ranks(view)) == {"Birch", "Cedar", "Dud"}
    assert [removed.field for removed in view.ranking.removed] == ["max_sound_dba", "max_sound_dba"]


def test_a_quantity_without_an_interval_is_refused(session: Session, bench: ComparedBench):
    with pytest.raises(InvalidValue) as refused:
        rank_view(current_snapshot(session), by="price")
    assert refused.value.message == (
        "Cannot rank by 'price'; choose a quantity with an interval: clean_air_delivery_rate, "
        "standard_clearing_time, sound, power, running_cost."
    )
    assert refused.value.field == "by"


def test_an_empty_bench_has_an_empty_order(session: Session):
    view = rank_view(current_snapshot(session))
    assert (view.lines, view.groups, view.without_value) == ((), (), ())


def test_a_model_of_two_makers_is_named_with_its_maker(session: Session, bench: ComparedBench):
    add_unit_with_setting(session, "Alder", maker="Maker C")
    names = names_of(
        rank_view(current_snapshot(session)).without_value
        + tuple(one.line for one in rank_view(current_snapshot(session)).lines)
    )
    assert {"Maker B Alder", "Maker C Alder", "Birch"} <= set(names.values())


def test_an_order_under_a_further_column_follows_its_changes(store: Engine):
    """The lines without a value stand as the ranking has them, here by their ozone."""
    with session_scope(store) as session:
        fill(session)
        units = {name: add_unit_with_setting(session, name)[0] for name in ("Elder", "Fir")}

    def without_power() -> list[str]:
        with session_scope(store, writes=False) as session:
            view = rank_view(current_snapshot(session), RankingChoices(sort="ozone"), by=POWER)
            return [line.row.model for line in view.without_value if line.row.unit_id in units.values()]

    assert without_power() == ["Elder", "Fir"]
    with session_scope(store) as session:
        add_ozone_test(session, units["Fir"], NewOzoneTest(ozone_ppb=3.0, tested_on=DAY))
    assert without_power() == ["Fir", "Elder"]
