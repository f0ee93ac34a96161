"""Cost of every unit of the bench, its order, its filters and which units are drawn."""

import pytest
from sqlalchemy.orm import Session

from app.errors import InvalidValue, NotFound
from app.services.costs.choices import OwningChoices
from app.services.costs.running_cost import CostChoices, RunningCostView, running_cost_view
from app.services.snapshot.bench_snapshot import current_snapshot
from app.services.units.entry import change_unit
from tests.sample_data.measured_facts import add_power
from tests.sample_data.ranked_bench import RankedBench, fill


@pytest.fixture
def bench(session: Session) -> RankedBench:
    """The bench of the ranking, where Middling and Weak are known wholly: 20 W and 10 W, nothing to replace."""
    filled = fill(session)
    for model, watts in (("Middling", 20.0), ("Weak", 10.0)):
        add_power(session, filled.units[model], filled.settings[model], watts)
        change_unit(session, filled.units[model], {"consumables_state": "none needed"})
    return filled


def names(view: RunningCostView) -> list[str]:
    return [cost.unit.row.model for cost in view.costs]


def test_whole_costs_come_before_lower_bounds(session: Session, bench: RankedBench):
    """At 0.16 USD/kWh 10 W all year cost 14.02 USD and 20 W 28.03 USD. Recomputed."""
    view = running_cost_view(current_snapshot(session))
    assert names(view)[:2] == ["Weak", "Middling"]
    assert [cost.per_year.total_per_year for cost in view.costs[:2]] == pytest.approx([14.016, 28.032])
    assert not any(cost.per_year.at_least for cost in view.costs[:2])
    assert all(cost.per_year.at_least for cost in view.costs[2:])


def test_bounds_stay_last_when_the_dearest_is_asked_for_first(session: Session, bench: RankedBench):
    view = running_cost_view(current_snapshot(session), CostChoices(descending=True))
    assert names(view)[:2] == ["Middling", "Weak"]


def test_years_add_the_purchase(session: Session, bench: RankedBench):
    view = running_cost_view(
        current_snapshot(session), CostChoices(sort="cost_over_years", owning=OwningChoices(years=3))
    )
    weak = next(cost for cost in view.costs if cost.unit.row.model == "Weak")
    assert weak.over_years.total == pytest.approx(80 + 3 * 14.016)
    assert names(view)[0] == "Weak"


@pytest.mark.parametrize("sort", ["energy", "consumables", "price", "name"])
def test_every_column_can_be_sorted_by(session: Session, bench: RankedBench, sort: str):
    assert sorted(names(running_cost_view(current_snapshot(session), CostChoices(sort=sort)))) == sorted(bench.units)


def test_a_missing_price_is_last(session: Session, bench: RankedBench):
    for descending in (False, True):
        view = running_cost_view(current_snapshot(session), CostChoices(sort="price", descending=descending))
        assert set(names(view)[:3]) == {"Strong", "Middling", "Weak"}


def test_filters_tell_what_they_took_out(session: Session, bench: RankedBench):
    view = running_cost_view(current_snapshot(session), CostChoices(kind="ioniser", search="noise other"))
    assert names(view) == ["Other noise"]
    assert view.removed == ("6 not matching “noise other”",)
    view = running_cost_view(current_snapshot(session), CostChoices(kind="ioniser"))
    assert view.removed == ("5 not of type ioniser",)


def test_the_units_drawn_are_those_asked_for(session: Session, bench: RankedBench):
    wanted = (bench.units["Strong"], bench.units["Weak"])
    view = running_cost_view(current_snapshot(session), CostChoices(owning=OwningChoices(unit_ids=wanted)))
    assert {cost.unit.row.unit_id for cost in view.drawn} == set(wanted)
    assert len(view.costs) == 7
    assert len(running_cost_view(current_snapshot(session)).drawn) == 6


def test_an_unknown_column_is_refused(session: Session, bench: RankedBench):
    with pytest.raises(InvalidValue, match="The column to sort by is 'beauty'; choose one of: cost_per_year"):
        running_cost_view(current_snapshot(session), CostChoices(sort="beauty"))


def test_a_tariff_that_is_not_stored_is_refused(session: Session, bench: RankedBench):
    with pytest.raises(NotFound, match="There is no tariff 99"):
        running_cost_view(current_snapshot(session), CostChoices(owning=OwningChoices(tariff_id=99)))


def test_without_any_price_of_energy_the_reader_is_asked_for_one(session: Session):
    with pytest.raises(InvalidValue, match="No electricity price is set") as caught:
        running_cost_view(current_snapshot(session))
    assert caught.value.field == "price_per_kwh"
