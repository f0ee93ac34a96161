import pytest

from app.compute.cost_and_energy.consumable_life import ConsumablePart
from app.compute.cost_and_energy.energy_use import RunningPart
from app.compute.cost_and_energy.running_cost import CostAssumptions, OwnedUnit, running_cost

ASSUMED = CostAssumptions(price_per_kwh=0.20, currency="EUR")


def test_energy_and_consumables_add_up():
    unit = OwnedUnit(
        "a",
        (RunningPart(24.0, 50.0),),
        consumables=(ConsumablePart("filter", price_per_pack=60.0, life_months=12),),
    )
    cost = running_cost(unit, ASSUMED)
    assert cost.energy_cost_per_year == pytest.approx(87.6)
    assert cost.consumables_cost_per_year == pytest.approx(60.0)
    assert cost.total_per_year == pytest.approx(147.6)
    assert not cost.at_least
    assert not cost.needs_no_consumables


def test_no_filter_is_a_fact_and_unknown_filters_are_a_gap():
    running = (RunningPart(24.0, 50.0),)
    fact = running_cost(OwnedUnit("box", running, consumables=()), ASSUMED)
    gap = running_cost(OwnedUnit("box", running), ASSUMED)
    assert fact.needs_no_consumables
    assert not fact.at_least
    assert gap.at_least
    assert "is not recorded" in gap.missing[0]


def test_a_missing_price_leaves_the_rest_and_says_at_least():
    unit = OwnedUnit(
        "a",
        (RunningPart(24.0, 50.0),),
        consumables=(
            ConsumablePart("main filter", price_per_pack=60.0, life_months=12),
            ConsumablePart("carbon", life_months=6),
        ),
    )
    cost = running_cost(unit, ASSUMED)
    assert cost.at_least
    assert cost.total_per_year == pytest.approx(147.6)
    assert cost.missing == ("carbon: its price is not recorded, so its cost is not included.",)


def test_more_hours_wear_a_filter_with_a_life_in_hours_faster():
    part = ConsumablePart("filter", price_per_pack=60.0, life_running_hours=4380)
    half = running_cost(OwnedUnit("a", (RunningPart(12.0, 0.0),), 0.0, consumables=(part,)), ASSUMED)
    full = running_cost(OwnedUnit("a", (RunningPart(24.0, 0.0),), consumables=(part,)), ASSUMED)
    assert full.total_per_year == pytest.approx(2 * half.total_per_year)


def test_the_uncertainty_joins_power_and_filter_life():
    unit = OwnedUnit(
        "a",
        (RunningPart(24.0, 50.0, 1.0),),
        consumables=(ConsumablePart("filter", price_per_pack=60.0, life_months=12),),
    )
    cost = running_cost(unit, ASSUMED)
    assert cost.uncertainty_per_year == pytest.approx(((0.2 * 8.76) ** 2 + (0.25 * 60) ** 2) ** 0.5)
    low, high = cost.interval_95
    assert high - low == pytest.approx(2 * 1.959964 * cost.uncertainty_per_year)


def test_the_interval_never_goes_below_zero():
    unit = OwnedUnit("a", (RunningPart(24.0, 1.0, 5.0),), consumables=())
    assert running_cost(unit, ASSUMED).interval_95[0] == 0.0


@pytest.mark.parametrize(
    ("fields", "message"),
    [
        ({"price_per_kwh": -0.1}, "price per kilowatt-hour is -0.1; it must be zero or above"),
        ({"price_per_kwh": 0.1, "discount_rate": 1.0}, "discount rate is 1; it must be between -0.5 and 1"),
        (
            {"price_per_kwh": 0.1, "filter_life_relative_uncertainty": 1.0},
            "relative uncertainty of filter life is 1; it must be at least 0 and below 1",
        ),
    ],
)
def test_impossible_assumptions_are_refused(fields, message):
    with pytest.raises(ValueError, match=message):
        CostAssumptions(**fields)
