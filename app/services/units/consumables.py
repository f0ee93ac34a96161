"""Filters and other consumables, with their prices. "None needed" is a recorded fact, not a missing value."""

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.errors import AlreadyStored, InvalidValue, NotFound
from app.services.store.audit import AT_THE_DESK, record_change
from app.services.store.entry_fields import checked_entry
from app.services.units.definitions import NewConsumable, NewPrice
from app.services.units.entry import SUBJECT, change_unit, get_unit
from app.services.units.prices import price_words
from app.storage.models.units_under_test import Consumable, ConsumablePrice


def add_consumable(session: Session, unit_id: int, new: NewConsumable, *, who: str = AT_THE_DESK) -> int:
    """Adds a consumable and returns its id; the unit's consumables then count as listed."""
    unit = get_unit(session, unit_id)
    values = checked_entry(new)
    name = values["name"]
    if find_consumable(session, unit_id, name) is not None:
        raise AlreadyStored(
            f"{unit.maker} {unit.model} already has a consumable {name!r}. Add a price to it, or choose another name.",
            field="consumable",
        )
    consumable = Consumable(unit_under_test_id=unit_id, **values)
    session.add(consumable)
    session.flush()
    record_change(session, who, "added", SUBJECT, unit_id, "consumable", None, name)
    if unit.consumables_state != "listed":
        change_unit(session, unit_id, {"consumables_state": "listed"}, who=who, why=f"{name} was added")
    return consumable.id


def add_consumable_price(session: Session, consumable_id: int, new: NewPrice, *, who: str = AT_THE_DESK) -> int:
    """Adds the price of one pack and returns its id."""
    consumable = session.get(Consumable, consumable_id)
    if consumable is None:
        raise NotFound("consumable", consumable_id)
    price = ConsumablePrice(consumable_id=consumable_id, **checked_entry(new, "consumable_"))
    session.add(price)
    session.flush()
    unit_id, what = consumable.unit_under_test_id, f"price of {consumable.name}"
    record_change(session, who, "added", SUBJECT, unit_id, what, None, price_words(price))
    return price.id


def find_consumable(session: Session, unit_id: int, name: str) -> int | None:
    """Id of the consumable of that name."""
    return session.scalar(
        select(Consumable.id).where(Consumable.unit_under_test_id == unit_id, Consumable.name == name)
    )


def say_none_needed(session: Session, unit_id: int, *, who: str = AT_THE_DESK) -> None:
    """Records that the unit needs no filter or other consumable."""
    unit = get_unit(session, unit_id)
    listed = session.scalar(select(Consumable.name).where(Consumable.unit_under_test_id == unit_id).limit(1))
    if listed is not None:
        raise InvalidValue(
            f"{unit.maker} {unit.model} has the consumable {listed!r}, so it cannot be marked as needing none. Remove "
            "the consumable first.",
            field="consumables_state",
        )
    change_unit(session, unit_id, {"consumables_state": "none needed"}, who=who)
