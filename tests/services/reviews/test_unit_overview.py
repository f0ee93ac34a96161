"""Everything known of one unit, and the list of units."""

import pytest
from sqlalchemy import update
from sqlalchemy.orm import Session

from app.errors import NotFound
from app.figures.tables.fact_sheet import fact_sheet_table, trials_text
from app.services.adding_trials.add import add_trial
from app.services.bench.chart_facts import read_chart_facts
from app.services.bench.definitions import NewRoom
from app.services.bench.rooms import add_room
from app.services.logs.trial_fields import NewTrial
from app.services.results.update_derived import update_derived_results
from app.services.reviews.unit_overview import trials_of_results, unit_overview
from app.services.snapshot.bench_snapshot import current_snapshot
from app.services.trials.trash import trash_unit
from app.services.units.consumables import add_consumable, add_consumable_price
from app.services.units.definitions import NewConsumable, NewPrice
from app.services.units.list import list_units
from app.storage.models.bench import Bench
from app.web.pages.units.trial_lines import which_trials
from tests.conftest import NOW, SmallBench, decay_log
from tests.sample_data.control_bench import add_runs
from tests.sample_data.measured_facts import add_tariff
from tests.sample_data.ranked_bench import fill


def test_a_unit_page_gathers_what_was_measured_priced_and_tried(session: Session, small_bench: SmallBench):
    run = NewTrial(
        kind="unit running",
        room_id=small_bench.room_id,
        unit_under_test_id=small_bench.unit_id,
        setting_id=small_bench.high_setting_id,
    )
    trial_id = add_trial(session, decay_log(6.0), "run.csv", run, now=NOW)
    part_id = add_consumable(session, small_bench.unit_id, NewConsumable(name="filter", life_months=12))
    add_consumable_price(session, part_id, NewPrice(amount=40.0, currency="USD", seen_on=NOW.date(), source="list"))
    add_tariff(session)
    known = unit_overview(session, small_bench.unit_id)
    assert [line.row.setting for line in known.lines.lines] == ["low", "high"]
    assert [listed.trial.id for listed in known.trials] == [trial_id]
    assert (known.prices[0].amount, known.prices[0].source) == (199.0, "price list")
    assert (known.parts[0].name, known.parts[0].prices[0].amount) == ("filter", 40.0)
    assert known.over_years is not None
    assert known.over_years.by_year[0].purchase == 199.0
    assert all(note.severity != "fine" for notes in known.notes.values() for note in notes)
    # without an empty-room run there is no rate, and a note that says so
    assert any(note.code for note in known.notes[trial_id])


def test_the_newest_trials_are_listed_and_all_are_counted(session: Session, small_bench: SmallBench):
    own = (small_bench.unit_id, small_bench.high_setting_id)
    runs = add_runs(session, small_bench.room_id, [4.0, 4.1, 4.2], setting=own)
    update_derived_results(session, runs, why="test")
    known = unit_overview(session, small_bench.unit_id, most_trials=2)
    assert [listed.trial.id for listed in known.trials] == [runs[2], runs[1]]
    trials_of = trials_of_results(session, known)
    assert trials_of == {small_bench.high_setting_id: tuple(runs)}
    assert known.latest_usable == {small_bench.high_setting_id: runs[-1]}
    [there] = known.trials_in
    assert (there.room_id, there.trials) == (small_bench.room_id, 3)
    assert there.last == max(listed.trial.started_at for listed in known.trials)
    assert which_trials(known) == "The newest 2 of 3 trials"
    whole = unit_overview(session, small_bench.unit_id)
    assert which_trials(whole) == "All trials, newest first"
    facts = read_chart_facts(session)
    assert fact_sheet_table(known, trials_of, facts) == fact_sheet_table(whole, trials_of, facts)


def test_results_rest_on_trials_of_their_own_room_and_aerosol(session: Session, small_bench: SmallBench):
    other = add_room(session, NewRoom(name="Room B", length_m=5, width_m=4, height_m=2.5))
    own = (small_bench.unit_id, small_bench.high_setting_id)
    smoke = add_runs(session, small_bench.room_id, [4.0, 4.1], setting=own)
    dust = add_runs(session, small_bench.room_id, [5.0], setting=own, aerosol="dust")
    elsewhere = add_runs(session, other, [3.0], setting=own)
    update_derived_results(session, [*smoke, *dust, *elsewhere], why="test")
    known = unit_overview(session, small_bench.unit_id)
    trials_of = trials_of_results(session, known)
    assert trials_of == {small_bench.high_setting_id: tuple(smoke)}
    assert trials_text(trials_of[small_bench.high_setting_id]) == f"trials {smoke[0]} and {smoke[1]}"
    assert {one.room: one.trials for one in known.trials_in} == {"Room A": 3, "Room B": 1}


def test_without_a_tariff_no_cost_is_given(session: Session, small_bench: SmallBench):
    assert unit_overview(session, small_bench.unit_id).over_years is None


def test_a_unit_that_is_not_there_is_not_found(session: Session):
    with pytest.raises(NotFound, match="There is no unit under test 5 in this bench"):
        unit_overview(session, 5)


def test_the_list_counts_and_narrows(session: Session):
    bench = fill(session)
    units = list_units(current_snapshot(session))
    assert (units.total, units.on_bench, units.tested, units.in_trash) == (7, 7, 0, 0)
    assert [unit.model for unit in units.units] == sorted(bench.units, key=str.lower)
    strong = next(unit for unit in units.units if unit.model == "Strong")
    assert (strong.settings, strong.price, strong.price_currency) == (("low", "high"), 500.0, "USD")
    assert [unit.model for unit in list_units(current_snapshot(session), search="noise").units] == [
        "Noise",
        "Other noise",
    ]
    assert [unit.model for unit in list_units(current_snapshot(session), kind="electrostatic").units] == ["Middling"]
    second = list_units(current_snapshot(session), limit=3, offset=3)
    assert len(second.units) == 3
    assert second.total == 7


def test_a_unit_in_the_trash_has_a_list_of_its_own(session: Session):
    bench = fill(session)
    trash_unit(session, bench.units["Weak"], why="sold")
    assert "Weak" not in [unit.model for unit in list_units(current_snapshot(session)).units]
    assert [unit.model for unit in list_units(current_snapshot(session), trashed=True).units] == ["Weak"]
    assert list_units(current_snapshot(session)).in_trash == 1


def test_the_foot_of_a_chart_says_that_a_bench_is_invented(session: Session):
    session.execute(update(Bench).values(name="The bench", invented=True))
    facts = read_chart_facts(session)
    assert facts.source_line("Trial 3").startswith("The bench, an invented demonstration. Trial 3. Method version ")
