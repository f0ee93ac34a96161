import math

import pytest

from app.compute.cost_and_energy.consumable_life import (
    ConsumablePart,
    consumable_cost_per_year,
    purchases,
    replacement_interval_years,
)


def test_the_shorter_of_two_lives_counts():
    part = ConsumablePart("filter", life_months=12, life_running_hours=2000)
    assert replacement_interval_years(part, 8760) == pytest.approx(2000 / 8760)
    assert replacement_interval_years(part, 1000) == 1.0


def test_a_unit_that_never_runs_wears_by_calendar_only():
    assert replacement_interval_years(ConsumablePart("f", life_running_hours=2000), 0) == math.inf
    assert replacement_interval_years(ConsumablePart("f", life_months=6, life_running_hours=2000), 0) == 0.5


def test_washable_parts_cost_nothing_and_miss_nothing():
    part = ConsumablePart("pre-filter", washable=True)
    assert part.missing == ""
    assert consumable_cost_per_year(part, 8760) == 0.0
    assert purchases(part, 8760, 10) == ()


def test_a_part_of_a_pack_counts_in_proportion_in_the_long_run():
    part = ConsumablePart("filter", pieces_in_use=2, pack_size=4, price_per_pack=40.0, life_months=6)
    assert consumable_cost_per_year(part, 8760) == pytest.approx(40.0)


def test_whole_packs_are_bought_and_left_over_pieces_used_first():
    part = ConsumablePart("filter", pieces_in_use=2, pack_size=3, price_per_pack=30.0, life_months=12)
    bought = purchases(part, 8760, 5)
    # need 2, 2, 2, 2 at years 1 to 4; packs of 3: buy 1 (1 left), 1 (2 left), 0, 1 (1 left)
    assert [(p.at_years, p.packs) for p in bought] == [(1.0, 1), (2.0, 1), (4.0, 1)]


def test_over_a_long_time_purchases_come_to_the_long_run_mean():
    part = ConsumablePart("filter", pieces_in_use=2, pack_size=3, price_per_pack=30.0, life_months=7)
    years = 700.0
    spent = sum(p.amount for p in purchases(part, 8760, years))
    assert spent / years == pytest.approx(consumable_cost_per_year(part, 8760), rel=2e-3)


def test_a_replacement_due_at_the_very_end_is_not_bought():
    part = ConsumablePart("filter", price_per_pack=10.0, life_months=12)
    assert len(purchases(part, 8760, 3)) == 2


def test_water_is_bought_from_the_first_day():
    part = ConsumablePart("additive", price_per_pack=10.0, life_months=12, first_set_included=False)
    assert [p.at_years for p in purchases(part, 8760, 2)] == [0.0, 1.0]


def test_a_missing_price_or_life_is_told():
    assert ConsumablePart("carbon", life_months=6).missing == (
        "carbon: its price is not recorded, so its cost is not included."
    )
    assert ConsumablePart("carbon", price_per_pack=9.0).missing == (
        "carbon: its life is not recorded, so its cost is not included."
    )
    assert purchases(ConsumablePart("carbon", price_per_pack=9.0), 8760, 10) == ()


def test_a_life_in_hours_of_a_unit_that_never_runs_costs_nothing():
    part = ConsumablePart("f", price_per_pack=10.0, life_running_hours=2000)
    assert consumable_cost_per_year(part, 0) == 0.0
    assert purchases(part, 0, 10) == ()


@pytest.mark.parametrize(
    ("fields", "message"),
    [
        ({"pieces_in_use": 0}, "f: 0 pieces in use and 1 in a pack were given; both must be 1 or more"),
        ({"pack_size": 0}, "f: 1 pieces in use and 0 in a pack were given; both must be 1 or more"),
        ({"life_months": 0.0}, "f: the life in months is 0; it must be above zero"),
        ({"life_running_hours": -5.0}, "f: the life in running hours is -5; it must be above zero"),
        ({"price_per_pack": -1.0}, "f: the price of a pack is -1; it must be 0 or above"),
    ],
)
def test_impossible_parts_are_refused(fields, message):
    with pytest.raises(ValueError, match=message):
        ConsumablePart("f", **fields)
