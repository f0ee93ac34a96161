"""A list of units as plain rows says the same as each unit read by itself."""

import dataclasses
from datetime import date

from sqlalchemy.orm import Session

from app.services.units.consumables import add_consumable, add_consumable_price
from app.services.units.cursor_lists import list_units_with_parts
from app.services.units.definitions import NewConsumable, NewPrice, NewUnit
from app.services.units.with_parts import unit_with_parts
from tests.sample_data.measured_facts import add_price, add_unit_with_setting
from tests.sample_data.ranked_bench import fill


def _same(found: object, stored: object, names: tuple[str, ...]) -> bool:
    return [getattr(found, name) for name in names] == [getattr(stored, name) for name in names]


def test_every_unit_of_the_list_is_as_it_is_read_alone(session: Session):
    fill(session)
    unit, _ = add_unit_with_setting(session, "With parts")
    for day in (date(2026, 2, 1), date(2026, 1, 1)):
        add_price(session, unit, 90.0, seen_on=day)
    for name in ("pre-filter", "carbon"):
        part = add_consumable(session, unit, NewConsumable(name=name, life_months=6.0))
        add_consumable_price(
            session, part, NewPrice(amount=40.0, currency="USD", seen_on=date(2026, 3, 1), source="list")
        )
        add_consumable_price(
            session, part, NewPrice(amount=30.0, currency="USD", seen_on=date(2026, 1, 1), source="list")
        )
    own = ("id", "trashed_at", *(field.name for field in dataclasses.fields(NewUnit)))
    units = list_units_with_parts(session).rows
    assert len(units) > 5
    for found in units:
        stored = unit_with_parts(session, found.id)
        assert _same(found, stored, own)
        for name, fields in (
            ("settings", ("id", "name", "position", "is_highest")),
            ("prices", ("amount", "currency", "seen_on", "source")),
            ("consumables", ("id", "name", "kind", "washable", "pieces_in_use", "pack_size", "life_months")),
        ):
            pairs = list(zip(getattr(found, name), getattr(stored, name), strict=True))
            assert all(_same(one, other, fields) for one, other in pairs), (found.model, name)
    last = units[-1]
    assert [part.name for part in last.consumables] == ["carbon", "pre-filter"]
    assert [price.amount for price in last.consumables[0].prices] == [30.0, 40.0]
    assert [price.seen_on for price in last.prices] == [date(2026, 1, 1), date(2026, 2, 1)]


def test_a_list_without_units_has_none(session: Session):
    assert list_units_with_parts(session).rows == ()
