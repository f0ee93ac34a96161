import pytest

from app.compute.cost_and_energy.consumable_life import ConsumablePart
from app.compute.cost_and_energy.cost_over_years import cost_over_years, present_value_of_steady_cost
from app.compute.cost_and_energy.energy_use import RunningPart
from app.compute.cost_and_energy.running_cost import CostAssumptions, OwnedUnit, running_cost

ASSUMED = CostAssumptions(price_per_kwh=0.20)


def unit(**fields):
    return OwnedUnit(
        **{
            "name": "a",
            "parts": (RunningPart(24.0, 50.0),),
            "purchase_price": 200.0,
            "consumables": (ConsumablePart("filter", price_per_pack=40.0, life_months=12),),
            **fields,
        }
    )


def test_the_curve_steps_up_by_a_filter_on_the_day_it_is_replaced():
    owned = cost_over_years(unit(), ASSUMED, years=3)
    at_one = [point.total for point in owned.path if point.at_years == 1.0]
    assert at_one == pytest.approx([287.6, 327.6])
    assert [(step.name, step.at_years) for step in owned.steps] == [("filter", 1.0), ("filter", 2.0)]


def test_totals_by_year_are_those_of_the_curve_before_the_step():
    owned = cost_over_years(unit(), ASSUMED, years=3)
    for year in owned.by_year:
        before = next(point.total for point in owned.path if point.at_years == year.at_years)
        assert year.total == pytest.approx(before)
    assert owned.by_year[2].consumables == (("filter", 40.0),)


def test_without_discount_many_years_come_to_purchase_plus_running_cost():
    part = ConsumablePart("filter", price_per_pack=10.0, life_months=3.7, first_set_included=False)
    owned = cost_over_years(unit(consumables=(part,)), ASSUMED, years=30)
    assert owned.total == pytest.approx(
        200 + 30 * running_cost(unit(consumables=(part,)), ASSUMED).total_per_year, rel=2e-3
    )


def test_water_bought_on_the_first_day_stands_in_year_zero():
    part = ConsumablePart("additive", price_per_pack=10.0, life_months=12, first_set_included=False)
    owned = cost_over_years(unit(consumables=(part,)), ASSUMED, years=2)
    assert owned.by_year[0].total == 210.0
    assert owned.path[0].total == 210.0


def test_a_discount_rate_lowers_later_money_only():
    plain = cost_over_years(unit(), ASSUMED, years=5)
    discounted = cost_over_years(unit(), CostAssumptions(price_per_kwh=0.20, discount_rate=0.05), years=5)
    assert discounted.by_year[0] == plain.by_year[0]
    assert discounted.total < plain.total
    filters = sum(40 / 1.05**year for year in (1, 2, 3, 4))
    assert dict(discounted.by_year[5].consumables)["filter"] == pytest.approx(filters)


def test_a_steady_cost_discounted_in_small_steps_gives_the_integral():
    steps = 100_000
    by_sum = sum(100 * 5 / steps * 1.05 ** -((i + 0.5) * 5 / steps) for i in range(steps))
    assert present_value_of_steady_cost(100.0, 0.05, 5.0) == pytest.approx(by_sum, rel=1e-8)


def test_the_band_holds_the_curve_and_shrinks_to_it_without_uncertainty():
    wide = cost_over_years(unit(parts=(RunningPart(24.0, 50.0, 2.0),)), ASSUMED, years=5)
    assert wide.low[-1].total < wide.total < wide.high[-1].total
    sure = CostAssumptions(price_per_kwh=0.20, filter_life_relative_uncertainty=0.0)
    narrow = cost_over_years(unit(), sure, years=5)
    assert narrow.low[-1].total == pytest.approx(narrow.high[-1].total)


def test_without_its_curve_the_totals_are_the_same():
    with_curve, without = cost_over_years(unit(), ASSUMED, 5), cost_over_years(unit(), ASSUMED, 5, with_curve=False)
    assert (without.path, without.low, without.high) == ((), (), ())
    assert (without.by_year, without.steps, without.missing) == (
        with_curve.by_year,
        with_curve.steps,
        with_curve.missing,
    )


def test_a_missing_purchase_price_is_named_first():
    owned = cost_over_years(unit(purchase_price=None, consumables=None), ASSUMED, years=5)
    assert owned.at_least
    assert owned.missing[0] == "The purchase price is not recorded, so it is not included."
    assert len(owned.missing) == 2


@pytest.mark.parametrize("years", [0, 31])
def test_years_outside_the_range_are_refused(years):
    with pytest.raises(ValueError, match=f"time span is {years} years; it must be between 1 and 30"):
        cost_over_years(unit(), ASSUMED, years=years)
