"""The order of the ranking, its filters with what they removed, and the table kept in memory."""

from typing import Any

import pytest
from sqlalchemy import Engine, select, update
from sqlalchemy.orm import Session

from app.compute.cost_and_energy.energy_use import RunningPart
from app.compute.cost_and_energy.running_cost import CostAssumptions, OwnedUnit, running_cost
from app.errors import InvalidValue
from app.services.ranking.rows import RankingTable, read_ranking_table
from app.services.ranking.table import Ranking, lines_of_unit, needed_rate_m3_per_h, rank_units
from app.services.snapshot.bench_snapshot import current_snapshot
from app.services.snapshot.choices import MOST_ROWS, RankingChoices
from app.storage.engine import session_scope
from app.storage.models.bench import Tariff
from app.storage.models.rooms import Room
from app.storage.models.units_under_test import SpeedSetting, UnitUnderTest
from tests.conftest import sqlite_only
from tests.sample_data.measured_facts import NOW, add_price, add_rate, add_sound, add_unit_with_setting
from tests.sample_data.ranked_bench import RankedBench, fill


@pytest.fixture
def bench(session: Session) -> RankedBench:
    return fill(session)


def ranked(session: Session, **choices: object) -> Ranking:
    return rank_units(current_snapshot(session), RankingChoices(**choices))  # type: ignore[arg-type]


def models(ranking: Ranking) -> list[str]:
    return [line.row.model for line in ranking.lines]


def test_measurable_rates_come_first_then_bounds_by_name_then_what_has_none(session: Session, bench: RankedBench):
    assert models(ranked(session)) == ["Strong", "Middling", "Weak", "Noise", "Other noise", "No pool", "Untried"]


def test_turning_the_column_round_keeps_the_groups(session: Session, bench: RankedBench):
    assert models(ranked(session, descending=False)) == [
        "Weak",
        "Middling",
        "Strong",
        "Noise",
        "Other noise",
        "No pool",
        "Untried",
    ]


@pytest.mark.parametrize("descending", [False, True])
def test_censored_times_come_after_every_reached_one(session: Session, bench: RankedBench, descending: bool):
    order = models(ranked(session, sort="time_to_clear", descending=descending))
    assert set(order[:2]) == {"Strong", "Weak"}
    assert set(order[2:4]) == {"Middling", "Noise"}
    assert (order[0] == "Strong") is not descending


def test_a_missing_value_is_last_in_either_direction(session: Session, bench: RankedBench):
    for descending in (False, True):
        order = models(ranked(session, sort="sound", descending=descending))
        assert set(order[:3]) == {"Strong", "Middling", "Weak"}


def test_a_price_in_another_currency_is_not_put_in_order(session: Session, bench: RankedBench):
    assert models(ranked(session, sort="price"))[:3] == ["Weak", "Middling", "Strong"]
    assert "Noise" not in models(ranked(session, max_price=30.0))


def test_names_sort_both_ways(session: Session, bench: RankedBench):
    up = models(ranked(session, sort="name"))
    assert up == sorted(up)
    assert models(ranked(session, sort="name", descending=True)) == up[::-1]


@pytest.mark.parametrize("sort", ["air_changes", "standard_clearing_time", "power", "running_cost", "kind", "trials"])
def test_every_column_can_be_sorted_by(session: Session, bench: RankedBench, sort: str):
    assert sorted(models(ranked(session, sort=sort))) == sorted(bench.units)


def test_each_filter_tells_how_many_units_it_took_out(session: Session, bench: RankedBench):
    ranking = ranked(session, kind="mechanical filter", max_price=100.0, max_sound_dba=45.0)
    assert models(ranking) == ["Weak"]
    assert [(cut.field, cut.units) for cut in ranking.removed] == [("kind", 5), ("max_price", 1)]
    assert ranking.total_units + sum(cut.units for cut in ranking.removed) == ranking.units_on_bench == 7
    assert ranking.removed[1].why == "more expensive than 100\u00a0USD"


def test_a_ceiling_does_not_let_a_missing_value_through(session: Session, bench: RankedBench):
    ranking = ranked(session, max_sound_dba=200.0)
    assert set(models(ranking)) == {"Strong", "Middling", "Weak"}
    assert [(cut.units, cut.why) for cut in ranking.removed] == [(4, "without a sound level at this setting")]


@pytest.mark.parametrize("max_price", [0.0, 80.0, 499.0, 600.0])
@pytest.mark.parametrize("max_sound", [20.0, 39.0, 44.0, 60.0])
def test_units_shown_and_removed_add_up(session: Session, bench: RankedBench, max_price: float, max_sound: float):
    ranking = ranked(session, max_price=max_price, max_sound_dba=max_sound, setting="every")
    assert ranking.total_units + sum(cut.units for cut in ranking.removed) == 7


def test_the_room_asks_for_a_rate(session: Session, bench: RankedBench):
    """1.55 rule: 20 m² are 215.3 ft², so 138.9 ft³/min or 236 m³/h. Rule: public page of a trade association, read;
    the arithmetic recomputed."""
    assert needed_rate_m3_per_h(RankingChoices(room_area_m2=20.0)) == pytest.approx(236.0, abs=0.1)
    ranking = ranked(session, room_area_m2=20.0)
    assert models(ranking) == ["Strong"]
    assert ranking.removed[-1].why == "too weak for 20\u00a0m²"
    by_changes = ranked(session, room_area_m2=16.0, room_rule="air changes", room_height_m=2.5, air_changes_per_h=5.0)
    assert by_changes.needed_rate_m3_per_h == pytest.approx(200.0)
    assert models(by_changes) == ["Strong", "Middling"]


def test_a_rate_that_cannot_be_told_from_zero_serves_no_room(session: Session, bench: RankedBench):
    assert "Other noise" not in models(ranked(session, room_area_m2=0.1))


def test_the_search_wants_every_word(session: Session, bench: RankedBench):
    assert models(ranked(session, search="noise maker")) == ["Noise", "Other noise"]
    assert models(ranked(session, search="OTHER noise")) == ["Other noise"]
    assert models(ranked(session, search="nothing like it")) == []


def test_the_quietest_setting_is_the_one_with_the_lowest_level(session: Session, bench: RankedBench):
    lines = {line.row.model: line for line in ranked(session, setting="quietest").lines}
    assert lines["Strong"].row.setting == "low"
    assert lines["Middling"].row.setting == "high"
    assert len(lines) == 7


def test_every_setting_has_a_line_of_its_own(session: Session, bench: RankedBench):
    ranking = ranked(session, setting="every")
    assert len(ranking.lines) == 8
    assert ranking.total_units == 7


def test_a_setting_is_chosen_by_its_name(session: Session, bench: RankedBench):
    ranking = ranked(session, setting="LOW")
    assert models(ranking) == ["Strong"]
    assert [(cut.field, cut.units) for cut in ranking.removed] == [("setting", 6)]


def test_without_a_mark_the_last_setting_is_the_highest(session: Session, bench: RankedBench):
    session.execute(update(SpeedSetting).values(is_highest=False))
    strong = next(line for line in ranked(session).lines if line.row.model == "Strong")
    assert strong.row.setting == "high"


def test_a_unit_in_the_trash_is_not_ranked(session: Session, bench: RankedBench):
    session.execute(update(UnitUnderTest).where(UnitUnderTest.id == bench.units["Strong"]).values(trashed_at=NOW))
    ranking = ranked(session)
    assert "Strong" not in models(ranking)
    assert ranking.units_on_bench == 6


def test_the_newest_price_in_the_bench_s_currency_counts(session: Session, bench: RankedBench):
    add_price(session, bench.units["Strong"], 450.0, seen_on=NOW.date().replace(month=3))
    add_price(session, bench.units["Strong"], 1.0, "EUR", NOW.date().replace(month=4))
    strong = ranked(session).lines[0].row
    assert (strong.price, strong.price_currency) == (450.0, "USD")


def test_the_running_cost_is_that_of_the_cost_calculation(session: Session, bench: RankedBench):
    """50 W for 8760 h at 0.16 USD/kWh: 438 kWh, 70.08 USD. Recomputed."""
    cost = ranked(session).lines[0].cost
    assert cost is not None
    assert cost.energy_cost_per_year == pytest.approx(70.08)
    assert cost.at_least  # neither standby nor filters are recorded
    plain = running_cost(OwnedUnit("", (RunningPart(24.0, 50.0, 0.2),)), CostAssumptions(0.16))
    assert cost.total_per_year == plain.total_per_year


def test_the_reader_s_own_price_goes_before_the_bench_s(session: Session, bench: RankedBench):
    cost = ranked(session, price_per_kwh=0.32, hours_per_day=12.0).lines[0].cost
    assert cost is not None
    assert cost.energy_cost_per_year == pytest.approx(70.08)


def test_the_list_comes_in_parts(session: Session, bench: RankedBench):
    whole = models(ranked(session))
    parts = [models(ranked(session, limit=3, offset=offset)) for offset in (0, 3, 6)]
    assert [model for part in parts for model in part] == whole
    assert ranked(session, limit=3, offset=6).total_lines == 7


def test_leader_and_last_are_told_by_rate_whatever_the_order(session: Session, bench: RankedBench):
    ranking = ranked(session, sort="price", limit=1)
    assert ranking.leader is not None
    assert ranking.last is not None
    assert (ranking.leader.row.model, ranking.last.row.model) == ("Strong", "Weak")
    assert (ranking.not_measurable, ranking.without_rate) == (2, 2)


def test_another_room_has_its_own_results(session: Session, bench: RankedBench):
    unit_id, setting_id = add_unit_with_setting(session, "Elsewhere")
    other = Room(name="Room B", room_volume_m3=50.0, room_volume_uncertainty_m3=1.0)
    session.add(other)
    session.flush()
    add_rate(session, unit_id, setting_id, other.id, 300.0, usable_trials=1)
    assert models(ranked(session))[0] == "Strong"  # the room with most trials
    there = ranked(session, room_id=other.id)
    assert there.room is not None
    assert (there.room.name, models(there)[0]) == ("Room B", "Elsewhere")


def test_the_lines_of_one_unit_are_those_of_the_ranking(session: Session, bench: RankedBench):
    lines = lines_of_unit(current_snapshot(session), bench.units["Strong"]).lines
    assert [line.row.setting for line in lines] == ["low", "high"]
    assert lines[1].row == ranked(session).lines[0].row
    assert lines[1].cost == ranked(session).lines[0].cost
    assert lines_of_unit(current_snapshot(session), 999).lines == ()


def test_an_empty_bench_has_an_empty_ranking(session: Session):
    ranking = ranked(session)
    assert ranking.lines == ()
    assert (ranking.units_on_bench, ranking.leader, ranking.room) == (0, None, None)


@pytest.mark.parametrize(
    ("choices", "field", "message"),
    [
        ({"channel": "pm9"}, "channel", "The channel is 'pm9'; choose one of: pm2_5."),
        ({"aerosol": "soot"}, "aerosol", "The aerosol is 'soot'; choose one of: smoke."),
        ({"sort": "beauty"}, "sort", "The column to sort by is 'beauty'; choose one of: "),
        ({"room_rule": "guess"}, "room_rule", "The sizing rule is 'guess'; choose one of: 1.55 rule, "),
        ({"room_id": 99}, "room_id", "There is no test room 99 with results; there are: 1 (Room A)."),
        (
            {"setting": "warp"},
            "setting",
            "The setting is 'warp'; choose one of: highest, quietest, every, high, low.",
        ),
        ({"max_price": -1.0}, "max_price", "The maximum price is -1 USD; it must be zero or above. Correct it."),
        (
            {"max_sound_dba": float("nan")},
            "max_sound_dba",
            "The maximum sound level is nan dB(A); it must be zero or above.",
        ),
        (
            {"room_area_m2": 0.0},
            "room_area_m2",
            "The room area is 0 m²; it must be above zero. Correct it.",
        ),
        ({"hours_per_day": 25.0}, "hours_per_day", "The unit runs 25.0 h a day; enter a value from 0 to 24."),
        ({"limit": 0}, "limit", f"The limit is 0 rows; 1 to {MOST_ROWS} are allowed."),
        ({"offset": -1}, "offset", "The list starts at -1; it must be zero or above."),
    ],
)
def test_a_choice_that_cannot_be_says_what_is_needed(
    session: Session, bench: RankedBench, choices: dict[str, object], field: str, message: str
):
    with pytest.raises(InvalidValue) as caught:
        ranked(session, **choices)
    assert caught.value.message.startswith(message)
    assert caught.value.field == field


def read_table(store: Engine, **choices: Any) -> RankingTable:
    with session_scope(store, writes=False) as reading:
        return read_ranking_table(current_snapshot(reading), RankingChoices(**choices))


@sqlite_only("PostgreSQL does not tell which unit changed")
def test_after_a_change_only_the_lines_of_that_unit_are_made_again(store: Engine):
    with session_scope(store) as session:
        bench = fill(session)
    first = read_table(store)
    assert read_table(store, sort="name", max_price=3.0) is first  # chosen from the same table
    assert read_table(store, setting="every") is not first
    before = {line.row.model: line for line in first.lines}
    with session_scope(store) as session:
        add_price(session, bench.units["Strong"], 1.0, seen_on=NOW.date().replace(month=5))
        add_sound(session, bench.units["Weak"], before["Weak"].row.setting_id or 0, 61.0)
    after = {line.row.model: line for line in read_table(store).lines}
    assert {model for model in before if after[model] is not before[model]} == {"Strong", "Weak"}
    assert after["Strong"].row.price == 1.0
    assert after["Weak"].sound != before["Weak"].sound


def test_a_change_of_what_all_units_share_reaches_every_line(store: Engine):
    with session_scope(store) as session:
        fill(session)
    before = {line.row.model: line for line in read_table(store).lines}
    with session_scope(store) as session:
        session.execute(update(Tariff).values(price_per_kwh=Tariff.price_per_kwh * 2))
    after = {line.row.model: line for line in read_table(store).lines}
    assert after["Strong"].cost != before["Strong"].cost


def test_a_unit_whose_highest_setting_is_not_marked_has_the_sound_of_its_last_one(session: Session, bench: RankedBench):
    for setting in session.scalars(
        select(SpeedSetting).where(SpeedSetting.unit_under_test_id == bench.units["Strong"])
    ):
        setting.is_highest = False
    session.flush()
    every = [line for line in ranked(session, setting="every").lines if line.row.model == "Strong"]
    (highest,) = (line for line in ranked(session).lines if line.row.model == "Strong")
    last = max(every, key=lambda line: line.row.position or 0)
    assert highest.row == last.row
    assert highest.sound == last.sound
    assert highest.cost == last.cost
