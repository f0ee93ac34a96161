import pytest

from app.compute.cost_and_energy.break_even import break_even
from app.compute.cost_and_energy.consumable_life import ConsumablePart
from app.compute.cost_and_energy.cost_over_years import cost_over_years
from app.compute.cost_and_energy.energy_use import RunningPart
from app.compute.cost_and_energy.running_cost import CostAssumptions, OwnedUnit

SURE = CostAssumptions(price_per_kwh=0.20, filter_life_relative_uncertainty=0.0)


def owned(name, watts, price, *, parts=(), years=5, assumptions=SURE, power_uncertainty_w=0.0):
    unit = OwnedUnit(name, (RunningPart(24.0, watts, power_uncertainty_w),), purchase_price=price, consumables=parts)
    return cost_over_years(unit, assumptions, years)


def test_two_slopes_cross_where_the_price_gap_is_paid_back():
    found = break_even(owned("dear", 10, 300), owned("cheap", 60, 100))
    assert found.at_years == pytest.approx(200 / (0.05 * 8760 * 0.20), rel=1e-6)
    assert (found.cheaper_at_start, found.cheaper_at_end) == ("cheap", "dear")
    assert found.sentence == "dear costs less in total after 2.3 years."


def test_the_order_of_the_arguments_does_not_matter():
    one = break_even(owned("dear", 10, 300), owned("cheap", 60, 100))
    other = break_even(owned("cheap", 60, 100), owned("dear", 10, 300))
    assert one == other


def test_a_unit_cheaper_from_the_start_stays_so():
    found = break_even(owned("a", 10, 100), owned("b", 60, 300))
    assert found.at_years is None
    assert found.crossings == ()
    assert found.sentence == "a costs less in total after 5 years, as at the start."


def test_a_filter_step_can_cross_and_the_slope_cross_back():
    with_filter = owned("filter", 10, 100, parts=(ConsumablePart("f", price_per_pack=60, life_months=12),), years=2)
    without = owned("plain", 60, 80, years=2)
    found = break_even(with_filter, without)
    # 20 more expensive; gains 87.6 a year: crosses at 0.228; the step of 60 at 1 year cancels most of it, not all
    assert found.crossings[0] == pytest.approx(20 / 87.6, rel=1e-6)
    dearer_filter = owned("filter", 10, 100, parts=(ConsumablePart("f", price_per_pack=80, life_months=12),), years=2)
    found = break_even(dearer_filter, without)
    assert len(found.crossings) == 3
    assert found.crossings[1] == 1.0
    assert found.at_years == pytest.approx((20 + 80) / 87.6, rel=1e-6)


def test_equal_units_are_said_to_cost_the_same():
    found = break_even(owned("a", 10, 100), owned("b", 10, 100))
    assert found.cheaper_at_end == ""
    assert found.sentence.startswith("a and b cost the same over 5 years")


def test_equal_at_the_start_names_the_cheaper_at_the_end_only():
    found = break_even(owned("a", 10, 100), owned("b", 20, 100))
    assert found.at_years is None
    assert found.sentence == "a costs less in total after 5 years."


def test_overlapping_bands_and_missing_parts_are_said():
    found = break_even(
        owned("a", 10, 100, power_uncertainty_w=3), owned("b", 11, 100, parts=(ConsumablePart("f", life_months=6),))
    )
    assert found.within_band
    assert "not known well enough to be sure" in found.sentence
    assert "some costs are missing" in found.sentence
    assert found.missing == ("b: f: its price is not recorded, so its cost is not included.",)


def test_two_currencies_are_refused():
    euro = CostAssumptions(price_per_kwh=0.20, currency="EUR")
    with pytest.raises(ValueError, match="costs are in USD and EUR; both must be in one currency"):
        break_even(owned("a", 10, 100), owned("b", 10, 100, assumptions=euro))


def test_different_years_are_refused():
    with pytest.raises(ValueError, match="costs cover 5 and 3 years; both need to cover the same years"):
        break_even(owned("a", 10, 100), owned("b", 10, 100, years=3))
