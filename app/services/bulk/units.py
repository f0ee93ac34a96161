"""Storing one row of a bulk table of units, settings, prices, consumables or tariffs."""

from typing import Any

from sqlalchemy.orm import Session

from app.errors import AlreadyStored, InvalidValue
from app.services.bench.definitions import NewTariff
from app.services.bench.tariffs import add_tariff
from app.services.bulk.columns import BulkRow
from app.services.bulk.measurements import is_stored, refuse_second, unit_of
from app.services.units.consumables import add_consumable, add_consumable_price, find_consumable
from app.services.units.definitions import NewConsumable, NewPrice, NewSetting, NewUnit
from app.services.units.entry import add_setting, add_unit
from app.services.units.prices import add_price
from app.storage.models.units_under_test import ConsumablePrice, Price


def add_unit_row(session: Session, row: BulkRow, who: str) -> str:
    new = row.entry(NewUnit, consumables_state="none needed" if row.yes("needs_no_consumables") else "unknown")
    add_unit(session, new, who=who)
    return f"adds the unit {new.maker} {new.model}"


def add_setting_row(session: Session, row: BulkRow, who: str) -> str:
    new = row.entry(NewSetting)
    add_setting(session, unit_of(session, row), new, who=who)
    return f"adds the setting {new.name} to {row.text('model')}"


def add_price_row(session: Session, row: BulkRow, who: str) -> str:
    unit_id, new = unit_of(session, row), row.entry(NewPrice)
    refuse_second(session, Price, "price of that date", unit_under_test_id=unit_id, **_same_price(new))
    add_price(session, unit_id, new, who=who)
    return f"adds the price {new.amount:g} {new.currency.upper()} to {row.text('model')}"


def add_consumable_row(session: Session, row: BulkRow, who: str) -> str:
    """Adds the consumable if it is new, and its price if given; a known consumable only gets the price."""
    unit_id, name = unit_of(session, row), row.text("consumable")
    consumable_id = find_consumable(session, unit_id, name)
    done = []
    if consumable_id is None:
        consumable_id = add_consumable(session, unit_id, _consumable(row), who=who)
        done.append(f"adds the part {name} to {row.text('model')}")
    if "price_per_pack" in row.cells:
        price = row.entry(NewPrice, amount=row.number("price_per_pack"), currency=row.text("currency"))
        if not is_stored(session, ConsumablePrice, consumable_id=consumable_id, **_same_price(price)):
            add_consumable_price(session, consumable_id, price, who=who)
            done.append(f"adds its price {price.amount:g} {price.currency.upper()}")
    if not done:
        raise AlreadyStored(f"{row.text('model')} already has the part {name} with this price.")
    return ", ".join(done)


def _consumable(row: BulkRow) -> NewConsumable:
    new = row.entry(NewConsumable)
    given = next((name for name in ("life_months", "life_running_hours") if name in row.cells), None)
    if given and not new.life_source:
        raise InvalidValue(
            f"{given} is given but life_source is empty. Enter the source of the life, such as the manual.",
            field="life_source",
        )
    return new


def _same_price(new: NewPrice) -> dict[str, Any]:
    return {"amount": new.amount, "currency": new.currency.strip().upper(), "seen_on": new.seen_on}


def add_tariff_row(session: Session, row: BulkRow, who: str) -> str:
    add_tariff(session, row.entry(NewTariff), who=who)
    return f"adds a tariff for {row.text('region')}"
