"""Cost of owning and break-even against a ledger kept day by day, which shares no code with the program.

Source of the one formula used here: the single-payment present worth P = F (1 + i)^-n of engineering economics (as in
any textbook of it; from memory), applied to each day's payment on its own day. 1 kWh is 1000 W h (definition).
"""

import pytest

from app.compute.cost_and_energy.break_even import break_even
from app.compute.cost_and_energy.consumable_life import ConsumablePart
from app.compute.cost_and_energy.cost_over_years import cost_over_years
from app.compute.cost_and_energy.energy_use import RunningPart
from app.compute.cost_and_energy.running_cost import CostAssumptions, OwnedUnit

DAYS_A_YEAR = 365
PARTS_OF_A_DAY = 20  # the day's energy is paid in small parts, as the meter runs


def ledger(unit, price_per_kwh, rate, years):
    """What was spent by the end of each day, in money of the first day. Index 0 is the day of the purchase.

    unit : (watts, hours a day, standby watts, price, [(price of a set, life in years, bought on the first day)])
    A set that falls due on the very last day is not bought any more.
    """
    watts, hours, standby_w, price, parts = unit
    kwh_a_day = (watts * hours + standby_w * (24 - hours)) / 1000
    spent, by_day = price, []
    for set_price, _, at_once in parts:
        spent += set_price if at_once else 0.0
    by_day.append(spent)
    for day in range(1, DAYS_A_YEAR * years + 1):
        for part in range(PARTS_OF_A_DAY):
            n = (day - 1 + (part + 0.5) / PARTS_OF_A_DAY) / DAYS_A_YEAR
            spent += kwh_a_day / PARTS_OF_A_DAY * price_per_kwh * (1 + rate) ** -n
        by_day.append(spent)
        for set_price, life_years, _ in parts:
            # the replacements that fall due on this day stand in the next day's line
            due = [k * life_years for k in range(1, int(years / life_years) + 2)]
            spent += sum(
                set_price * (1 + rate) ** -at
                for at in due
                if (day - 0.5) / DAYS_A_YEAR < at <= (day + 0.5) / DAYS_A_YEAR and day < DAYS_A_YEAR * years
            )
    return by_day


THRIFTY = (10.0, 12.0, 0.5, 300.0, [(45.0, 1.0, False)])
THIRSTY = (55.0, 12.0, 2.0, 120.0, [(20.0, 0.5, False), (6.0, 0.25, True)])


def owned(name, unit, price_per_kwh, rate, years):
    watts, hours, standby_w, price, parts = unit
    consumables = tuple(
        ConsumablePart(f"part {n}", price_per_pack=money, life_months=12 * life, first_set_included=not at_once)
        for n, (money, life, at_once) in enumerate(parts)
    )
    machine = OwnedUnit(
        name, (RunningPart(hours, watts),), standby_power_w=standby_w, purchase_price=price, consumables=consumables
    )
    assumed = CostAssumptions(price_per_kwh, discount_rate=rate, filter_life_relative_uncertainty=0.0)
    return cost_over_years(machine, assumed, years)


@pytest.mark.parametrize("rate", [0.0, 0.03, 0.08])
@pytest.mark.parametrize("unit", [THRIFTY, THIRSTY])
def test_the_cost_at_the_end_of_each_year_is_that_of_the_ledger(unit, rate):
    by_day = ledger(unit, 0.30, rate, 10)
    found = owned("a", unit, 0.30, rate, 10)
    for year in range(11):
        assert found.by_year[year].total == pytest.approx(by_day[DAYS_A_YEAR * year], rel=1e-6)


@pytest.mark.parametrize("rate", [0.0, 0.03, 0.08])
def test_the_break_even_falls_on_the_day_on_which_the_ledgers_cross_for_good(rate):
    thrifty, thirsty = ledger(THRIFTY, 0.30, rate, 5), ledger(THIRSTY, 0.30, rate, 5)
    cheaper = [a < b for a, b in zip(thrifty, thirsty, strict=True)]
    assert not cheaper[0]
    assert cheaper[-1]
    last_dear_day = max(day for day, is_cheaper in enumerate(cheaper) if not is_cheaper)
    found = break_even(owned("thrifty", THRIFTY, 0.30, rate, 5), owned("thirsty", THIRSTY, 0.30, rate, 5))
    assert found.cheaper_at_end == "thrifty"
    assert found.at_years * DAYS_A_YEAR == pytest.approx(last_dear_day, abs=1.5)


def test_later_money_counts_less_so_the_dearer_one_pays_back_later():
    years = [
        break_even(owned("a", THRIFTY, 0.30, rate, 10), owned("b", THIRSTY, 0.30, rate, 10)).at_years
        for rate in (0.0, 0.03, 0.08)
    ]
    assert years == sorted(years)
    assert years[-1] > years[0]
