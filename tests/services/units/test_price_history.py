from datetime import date

import pytest

from app.errors import NotFound
from app.services.units.consumables import add_consumable, add_consumable_price
from app.services.units.definitions import NewConsumable, NewPrice
from app.services.units.price_history import price_history
from tests.sample_data.measured_facts import DAY, add_price, add_unit_with_setting


def test_prices_of_unit_and_parts_stand_in_order_in_the_usual_currency(session, small_bench):
    ids = small_bench
    add_price(session, ids.unit_id, 179.0, seen_on=date(2025, 6, 1))
    add_price(session, ids.unit_id, 150.0, "EUR", seen_on=date(2025, 7, 1))
    part = add_consumable(session, ids.unit_id, NewConsumable(name="main filter"))
    add_consumable_price(session, part, NewPrice(amount=40.0, currency="USD", seen_on=DAY, source="shop"))
    add_consumable(session, ids.unit_id, NewConsumable(name="pre-filter"))
    found = price_history(session, ids.unit_id)
    assert (found.currency, found.in_other_currencies) == ("USD", 1)
    assert [(line.name, line.is_unit, len(line.prices)) for line in found.lines] == [
        ("Model 1", True, 2),
        ("main filter", False, 1),
    ]
    assert [seen.amount for seen in found.lines[0].prices] == [179.0, 199.0]
    assert found.lines[1].prices[0].source == "shop"


def test_a_unit_without_prices_has_no_lines(session):
    unit_id, _ = add_unit_with_setting(session, "Unpriced")
    found = price_history(session, unit_id)
    assert (found.lines, found.in_other_currencies) == ((), 0)


def test_an_unknown_unit_is_not_found(session):
    with pytest.raises(NotFound, match="There is no unit under test 99"):
        price_history(session, 99)
