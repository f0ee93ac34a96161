import pytest

from app.errors import InvalidValue, NotFound
from app.services.bench.choices import change_bench
from app.services.bench.definitions import BenchChoices
from app.services.costs.choices import FOR_THE_ROOM, QUIETEST, OwningChoices, tariffs_of_bench
from app.services.costs.cost_of_owning import cost_of_owning
from app.services.costs.running_cost import CostChoices
from app.services.snapshot.bench_snapshot import current_snapshot
from app.services.units.consumables import add_consumable, add_consumable_price, say_none_needed
from app.services.units.definitions import NewConsumable, NewPrice, NewSetting
from app.services.units.entry import add_setting
from tests.sample_data.measured_facts import (
    DAY,
    add_power,
    add_price,
    add_rate,
    add_sound,
    add_tariff,
    add_unit_with_setting,
)


@pytest.fixture
def bench(session, small_bench):
    """Model 1: 199 USD, 10 W low and 50 W high, a filter of 40 USD a year; Box: 80 USD, 60 W, no filter."""
    ids = small_bench
    add_tariff(session, 0.20)
    add_rate(session, ids.unit_id, ids.low_setting_id, ids.room_id, 120.0)
    add_rate(session, ids.unit_id, ids.high_setting_id, ids.room_id, 400.0)
    add_sound(session, ids.unit_id, ids.low_setting_id, 35.0)
    add_sound(session, ids.unit_id, ids.high_setting_id, 50.0)
    add_power(session, ids.unit_id, ids.low_setting_id, 10.0, 0.1)
    add_power(session, ids.unit_id, ids.high_setting_id, 50.0, 0.5)
    filter_id = add_consumable(session, ids.unit_id, NewConsumable(name="filter", life_months=12))
    add_consumable_price(session, filter_id, NewPrice(amount=40.0, currency="USD", seen_on=DAY, source="shop"))
    box, box_setting = add_unit_with_setting(session, "Box")
    add_rate(session, box, box_setting, ids.room_id, 300.0)
    add_sound(session, box, box_setting, 52.0)
    add_power(session, box, box_setting, 60.0, 0.5)
    add_price(session, box, 80.0)
    say_none_needed(session, box)
    return ids, box


def owning(session, **fields):
    return cost_of_owning(current_snapshot(session), CostChoices(owning=OwningChoices(**fields)))


def by_id(found):
    return {cost.unit.row.unit_id: cost for cost in found.view.costs}


def test_all_causes_add_up(session, bench):
    ids, box = bench
    found = by_id(owning(session))
    model = found[ids.unit_id]
    assert model.per_year.energy_cost_per_year == pytest.approx(0.05 * 8760 * 0.20)
    assert model.over_years.by_year[5].total == pytest.approx(199 + 5 * 87.6 + 4 * 40)
    assert not model.over_years.at_least
    assert found[box].per_year.needs_no_consumables


def test_clean_air_has_a_price(session, bench):
    ids, _ = bench
    found = owning(session).clean_air[ids.unit_id]
    assert found.per_1000_m3.value == pytest.approx(1000 * 127.6 / (400 * 8760))
    assert found.why_not == ""


def test_the_tariff_is_named_with_its_standing(session, bench):
    assert owning(session).view.terms.tariff_words == "here from 2026-02-03, own bill"
    assert tariffs_of_bench(session)[0].price_per_kwh == 0.20


def test_a_typed_price_goes_before_the_tariff(session, bench):
    terms = owning(session, price_per_kwh=0.40).view.terms
    assert terms.assumptions.price_per_kwh == 0.40
    assert terms.tariff_words == "your own price"


def test_another_currency_leaves_prices_out_and_says_so(session, bench):
    ids, _ = bench
    cost = by_id(owning(session, price_per_kwh=0.30, currency="EUR"))[ids.unit_id]
    assert "The purchase price is in USD, not in EUR, so it is not included." in cost.over_years.missing
    assert "filter: its price is in USD, not in EUR, so its cost is not included." in cost.over_years.missing
    assert cost.over_years.at_least


def test_the_quietest_setting_is_cheaper_to_run(session, bench):
    ids, _ = bench
    cost = by_id(owning(session, setting=QUIETEST))[ids.unit_id]
    assert cost.unit.row.setting == "low"
    assert cost.per_year.energy_cost_per_year == pytest.approx(17.52)


def test_the_quietest_setting_that_serves_the_room(session, bench):
    ids, box = bench
    small = by_id(owning(session, setting=FOR_THE_ROOM, room_area_m2=10.0))  # 118 m³/h
    assert small[ids.unit_id].unit.row.setting == "low"
    large = owning(session, setting=FOR_THE_ROOM, room_area_m2=30.0)  # 354 m³/h
    assert by_id(large).keys() == {ids.unit_id}
    assert by_id(large)[ids.unit_id].unit.row.setting == "high"
    assert [left.unit_id for left in large.view.left_out] == [box]


def test_hours_may_be_shared_with_the_quietest_setting(session, bench):
    ids, _ = bench
    found = owning(session, hours_per_day=8.0, quiet_hours_per_day=16.0)
    model = by_id(found)[ids.unit_id]
    assert model.per_year.energy.running_kwh_per_year == pytest.approx(0.365 * (8 * 50 + 16 * 10))
    assert model.unit.mean_rate.value == pytest.approx((8 * 400 + 16 * 120) / 24)
    assert model.unit.rate.value == 400.0
    assert found.clean_air[ids.unit_id].per_1000_m3.value == pytest.approx(
        1000 * model.per_year.total_per_year / (8760 * model.unit.mean_rate.value)
    )


def test_all_hours_may_be_at_the_quietest_setting(session, bench):
    ids, _ = bench
    model = by_id(owning(session, hours_per_day=0.0, quiet_hours_per_day=24.0))[ids.unit_id]
    assert model.unit.mean_rate.value == pytest.approx(120.0)
    assert model.per_year.energy.running_kwh_per_year == pytest.approx(87.6)


def test_a_quietest_setting_without_a_rate_leaves_the_mean_open(session, bench):
    ids, _ = bench
    silent = add_setting(session, ids.unit_id, NewSetting(name="silent", position=0))
    add_sound(session, ids.unit_id, silent, 25.0)
    found = owning(session, hours_per_day=8.0, quiet_hours_per_day=8.0)
    assert by_id(found)[ids.unit_id].unit.mean_rate is None
    assert (
        "The power at silent was not measured, so its energy is not included."
        in by_id(found)[ids.unit_id].per_year.missing
    )


def test_two_units_are_compared_and_assumptions_moved(session, bench):
    ids, box = bench
    found = owning(session, compare=(ids.unit_id, box))
    assert found.compared == (ids.unit_id, box)
    assert found.pair.cheaper_at_end == "Maker B Box"
    assert {entry.assumption for entry in found.sensitivity} >= {"electricity", "years of use"}


def test_unasked_the_cheapest_to_buy_stands_against_the_cheapest_to_run(session, bench):
    _, box = bench
    third, setting = add_unit_with_setting(session, "Thrifty")
    add_power(session, third, setting, 5.0, 0.1)
    add_price(session, third, 400.0)
    say_none_needed(session, third)
    assert owning(session).compared == (box, third)


def test_a_pair_that_is_no_longer_drawn_makes_room_for_the_usual_one(session, bench):
    ids, box = bench
    assert set(owning(session, compare=(ids.unit_id, 77)).compared) == {ids.unit_id, box}


def test_one_unit_has_nothing_to_be_compared_with(session, bench):
    _, box = bench
    one = owning(session, unit_ids=(box,))
    assert (one.pair, one.compared, one.sensitivity) == (None, None, ())


def test_no_measurable_cleaning_has_no_cost_of_clean_air(session, bench):
    idle, setting = add_unit_with_setting(session, "Idle")
    ids, _ = bench
    add_rate(session, idle, setting, ids.room_id, 1.0, measurable=False, at_most=9.0)
    found = owning(session).clean_air[idle]
    assert found.per_1000_m3 is None
    assert found.why_not == "No clean air rate that can be distinguished from zero at this setting."


def test_a_unit_that_never_runs_says_why_there_is_no_cost_of_clean_air(session, bench):
    _, box = bench
    assert "runs 0 h a year" in owning(session, hours_per_day=0.0).clean_air[box].why_not


def test_without_any_tariff_it_asks_for_a_price(session, small_bench):
    with pytest.raises(InvalidValue, match=r"No electricity price is set. Enter one") as refused:
        cost_of_owning(current_snapshot(session))
    assert refused.value.field == "price_per_kwh"


@pytest.mark.parametrize(
    ("fields", "field", "message"),
    [
        ({"price_per_kwh": -1.0}, "price_per_kwh", "price per kilowatt-hour is -1.0; it must be zero or above"),
        ({"price_per_kwh": 1e300}, "price_per_kwh", "price per kilowatt-hour is 1e\\+300; enter at most 1e\\+06"),
        ({"hours_per_day": 25.0}, "hours_per_day", "Found 25 hours per day; enter a value from 0 to 24"),
        ({"quiet_hours_per_day": -1.0}, "quiet_hours_per_day", "Found -1 hours per day at the quietest setting"),
        ({"hours_per_day": 20.0, "quiet_hours_per_day": 5.0}, "quiet_hours_per_day", "Found 25 hours per day at both"),
        ({"days_per_year": 400.0}, "days_per_year", "Found 400 days per year; enter a value from 0 to 366"),
        ({"years": 0}, "years", "Found 0 years; enter a value from 1 to 30"),
        ({"discount_rate_pct": 80.0}, "discount_rate_pct", "Found 80 % per year; enter a value from 0 to 50"),
        ({"setting": "turbo"}, "setting", "The setting is 'turbo'; choose one of: highest, quietest"),
        ({"setting": FOR_THE_ROOM}, "room_area_m2", "No room area was given. Enter it"),
        ({"room_area_m2": -1.0}, "room_area_m2", "Found -1 for room_area_m2; enter a value above zero"),
        ({"unit_ids": tuple(range(9))}, "unit_ids", "9 units were selected; a chart shows at most 8"),
        ({"compare": (1,)}, "compare", "1 units were selected for the break-even. Select"),
    ],
)
def test_impossible_choices_are_refused(session, bench, fields, field, message):
    with pytest.raises(InvalidValue, match=message) as refused:
        owning(session, **fields)
    assert refused.value.field == field


def test_an_unknown_tariff_is_not_found(session, bench):
    with pytest.raises(NotFound, match="There is no tariff 99"):
        owning(session, tariff_id=99)


def test_the_benchs_hours_hold_unless_told_otherwise(session, bench):
    change_bench(session, BenchChoices(hours_per_day=8.0, tariff_id=tariffs_of_bench(session)[0].id))
    _, box = bench
    found = owning(session)
    assert found.view.terms.hours_per_day == 8.0
    assert any("standby power was not measured" in words for words in by_id(found)[box].per_year.missing)
