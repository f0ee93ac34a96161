import pytest

from app.compute.cost_and_energy.consumable_life import ConsumablePart
from app.compute.cost_and_energy.cost_over_years import cost_over_years
from app.compute.cost_and_energy.cost_sensitivity import one_at_a_time
from app.compute.cost_and_energy.energy_use import RunningPart
from app.compute.cost_and_energy.running_cost import CostAssumptions, OwnedUnit

THRIFTY = OwnedUnit("thrifty", (RunningPart(12.0, 10.0),), 0.0, purchase_price=200.0, consumables=())
HUNGRY = OwnedUnit("hungry", (RunningPart(12.0, 60.0),), 0.0, purchase_price=50.0, consumables=())
ASSUMED = CostAssumptions(price_per_kwh=0.20)


def by_name(units, **choice):
    return {entry.assumption: entry for entry in one_at_a_time(units, ASSUMED, **choice)}


def test_each_assumption_is_moved_alone():
    found = by_name((THRIFTY, HUNGRY), years=5)
    price = found["electricity"]
    assert (price.low.value, price.high.value) == (0.10, 0.40)
    expected = cost_over_years(HUNGRY, CostAssumptions(price_per_kwh=0.40), 5).total
    assert dict(price.high.totals)["hungry"] == pytest.approx(expected)


def test_an_assumption_that_swaps_two_units_is_named():
    # over 5 years hungry uses 50 W more: 219 kWh a year, 43.8 a year: 219 against a price gap of 150
    found = by_name((THRIFTY, HUNGRY), years=5)
    assert found["electricity"].changed_places == (("thrifty", "hungry"),)
    assert found["years of use"].changed_places
    assert not found["filter life"].changed_places


def test_filter_life_swaps_units_that_differ_in_filters():
    filters = OwnedUnit(
        "filters",
        (RunningPart(12.0, 10.0),),
        0.0,
        purchase_price=100.0,
        consumables=(ConsumablePart("f", price_per_pack=22, life_months=12),),
    )
    entry = by_name((THRIFTY, filters), years=5)["filter life"]
    assert entry.changed_places == (("filters", "thrifty"),)
    assert dict(entry.low.totals)["filters"] > dict(entry.high.totals)["filters"]


def test_hours_never_pass_a_day():
    all_day = OwnedUnit("all day", (RunningPart(24.0, 10.0),), purchase_price=1.0, consumables=())
    entry = by_name((all_day, THRIFTY))["hours per day"]
    assert entry.high.value == 24.0


def test_units_without_running_hours_are_compared_all_the_same():
    idle = tuple(OwnedUnit(name, (), 1.0, purchase_price=1.0, consumables=()) for name in "ab")
    assert not by_name(idle)["hours per day"].changed_places


@pytest.mark.parametrize("units", [(THRIFTY,), (THRIFTY, THRIFTY)])
def test_fewer_than_two_different_units_are_refused(units):
    with pytest.raises(ValueError, match="order needs two or more units with different names"):
        one_at_a_time(units, ASSUMED)
