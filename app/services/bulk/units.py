"""Storing one row of a bulk table of units, settings, prices, consumables or tariffs."""

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.errors import AlreadyStored, InvalidValue
from app.services.bench.tariffs import add_tariff
from app.services.bulk.columns import BulkRow
from app.services.bulk.measurements import unit_of
from app.services.units.consumables import NewConsumable, add_consumable, add_consumable_price
from app.services.units.entry import NewUnit, add_setting, add_unit
from app.services.units.prices import add_price
from app.storage.models.units_under_test import Consumable, ConsumablePrice, Price


def add_unit_row(session: Session, row: BulkRow, who: str) -> str:
    makes_ozone = row.yes("makes_ozone") if "makes_ozone" in row.cells else None
    new = NewUnit(
        maker=row.text("maker"),
        model=row.text("model"),
        kind=row.text("kind", "other"),
        makes_ozone=makes_ozone,
        consumables_state="none needed" if row.yes("needs_no_consumables") else "unknown",
        width_mm=row.number("width_mm"),
        depth_mm=row.number("depth_mm"),
        height_mm=row.number("height_mm"),
        mass_kg=row.number("mass_kg"),
        bought_on=row.day("bought_on"),
        bought_from=row.text("bought_from"),
        serial_number=row.text("serial_number"),
        notes=row.text("notes"),
    )
    add_unit(session, new, who=who)
    return f"adds the unit {new.maker} {new.model}"


def add_setting_row(session: Session, row: BulkRow, who: str) -> str:
    add_setting(
        session,
        unit_of(session, row),
        row.text("setting"),
        position=row.whole_number("position"),
        is_highest=row.yes("is_highest"),
        who=who,
    )
    return f"adds the setting {row.text('setting')} to {row.text('model')}"


def add_price_row(session: Session, row: BulkRow, who: str) -> str:
    unit_id = unit_of(session, row)
    amount, day = row.number("price"), row.day("seen_on")
    same = select(Price.id).where(
        Price.unit_under_test_id == unit_id,
        Price.amount == amount,
        Price.currency == row.text("currency").strip().upper(),
        Price.seen_on == day,
    )
    if session.scalar(same.limit(1)):
        raise AlreadyStored("This price of that day is stored already.")
    add_price(session, unit_id, amount, row.text("currency"), day, row.text("source"), who=who)
    return f"adds the price {amount:g} {row.text('currency').upper()} to {row.text('model')}"


def add_consumable_row(session: Session, row: BulkRow, who: str) -> str:
    """Adds the consumable if it is new, and its price if given; a known consumable only gets the price."""
    unit_id, name = unit_of(session, row), row.text("consumable")
    consumable_id = session.scalar(
        select(Consumable.id).where(Consumable.unit_under_test_id == unit_id, Consumable.name == name)
    )
    done = []
    if consumable_id is None:
        consumable_id = add_consumable(session, unit_id, _consumable(row), who=who)
        done.append(f"adds the part {name} to {row.text('model')}")
    if "price_per_pack" in row.cells:
        amount, currency, day = row.number("price_per_pack"), row.text("currency"), row.day("seen_on")
        same = select(ConsumablePrice.id).where(
            ConsumablePrice.consumable_id == consumable_id,
            ConsumablePrice.amount == amount,
            ConsumablePrice.currency == currency.strip().upper(),
            ConsumablePrice.seen_on == day,
        )
        if session.scalar(same.limit(1)) is None:
            add_consumable_price(session, consumable_id, amount, currency, day, row.text("source"), who=who)
            done.append(f"adds its price {amount:g} {currency.upper()}")
    if not done:
        raise AlreadyStored(f"{row.text('model')} has the part {name} already, with this price.")
    return ", ".join(done)


def _consumable(row: BulkRow) -> NewConsumable:
    lives = [name for name in ("life_months", "life_running_hours") if name in row.cells]
    if lives and "life_source" not in row.cells:
        raise InvalidValue(
            f"{lives[0]} is given and life_source is empty; it is needed: who says how long it lasts, such as the "
            "manual.",
            field="life_source",
        )
    return NewConsumable(
        name=row.text("consumable"),
        kind=row.text("kind", "filter"),
        washable=row.yes("washable"),
        pieces_in_use=1 if (pieces := row.whole_number("pieces_in_use")) is None else pieces,
        pack_size=1 if (pack := row.whole_number("pack_size")) is None else pack,
        life_months=row.number("life_months"),
        life_running_hours=row.number("life_running_hours"),
        life_source=row.text("life_source"),
        notes=row.text("notes"),
    )


def add_tariff_row(session: Session, row: BulkRow, who: str) -> str:
    add_tariff(
        session,
        row.text("region"),
        row.number("price_per_kwh"),
        row.text("currency"),
        row.day("valid_from"),
        source=row.text("source"),
        standing=row.text("standing"),
        who=who,
    )
    return f"adds a tariff of {row.text('region')}"
