"""Filters and other consumables, with their prices. "None needed" is a recorded fact, not a missing value."""

from dataclasses import dataclass
from datetime import date

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.errors import AlreadyStored, InvalidValue, NotFound
from app.services.store.audit import AT_THE_DESK, record_change
from app.services.store.checked_values import (
    currency_code,
    day_seen,
    number_not_below_zero,
    one_of,
    optional_above_zero,
    optional_text,
    required_text,
    source_text,
    whole_number_above_zero,
)
from app.services.units.entry import SUBJECT, change_unit, get_unit
from app.storage.models.units_under_test import Consumable, ConsumablePrice

KINDS_OF_CONSUMABLE = ("filter", "washable part", "water", "additive", "lamp", "other")
# Nothing is replaced more often than daily or hourly; a smaller figure is a typing error, and would make the cost
# calculation endless.
SHORTEST_LIFE_MONTHS = 0.03
SHORTEST_LIFE_HOURS = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class NewConsumable:
    """A consumable. Life in months, running hours, or both: whichever comes first."""

    name: str
    kind: str = "filter"
    washable: bool = False
    pieces_in_use: int = 1
    pack_size: int = 1
    life_months: float | None = None
    life_running_hours: float | None = None
    life_source: str = ""
    notes: str = ""


def add_consumable(session: Session, unit_id: int, new: NewConsumable, *, who: str = AT_THE_DESK) -> int:
    """Adds a consumable and returns its id; the unit's consumables then count as listed."""
    unit = get_unit(session, unit_id)
    name = required_text(new.name, "consumable", "The name of the consumable")
    if session.scalar(select(Consumable.id).where(Consumable.unit_under_test_id == unit_id, Consumable.name == name)):
        raise AlreadyStored(
            f"{unit.maker} {unit.model} has a consumable {name!r} already. Add a price to it, or choose another name.",
            field="consumable",
        )
    consumable = Consumable(
        unit_under_test_id=unit_id,
        name=name,
        kind=one_of(new.kind, KINDS_OF_CONSUMABLE, "consumable_kind", "The kind of consumable"),
        washable=new.washable,
        pieces_in_use=whole_number_above_zero(new.pieces_in_use, "pieces_in_use", "The number of pieces in use"),
        pack_size=whole_number_above_zero(new.pack_size, "pack_size", "The number of pieces in a pack"),
        life_months=_life(new.life_months, SHORTEST_LIFE_MONTHS, "life_months", "months"),
        life_running_hours=_life(new.life_running_hours, SHORTEST_LIFE_HOURS, "life_running_hours", "hours"),
        life_source=optional_text(new.life_source, "life_source", "The source of the life"),
        notes=optional_text(new.notes, "consumable_notes", "The notes"),
    )
    session.add(consumable)
    session.flush()
    record_change(session, who, "added", SUBJECT, unit_id, "consumable", None, name)
    if unit.consumables_state != "listed":
        change_unit(session, unit_id, {"consumables_state": "listed"}, who=who, why=f"{name} was added")
    return consumable.id


def add_consumable_price(
    session: Session,
    consumable_id: int,
    amount: float | None,
    currency: str,
    seen_on: date | None,
    source: str = "",
    *,
    who: str = AT_THE_DESK,
) -> int:
    """Adds the price of one pack and returns its id."""
    consumable = session.get(Consumable, consumable_id)
    if consumable is None:
        raise NotFound("consumable", consumable_id)
    price = ConsumablePrice(
        consumable_id=consumable_id,
        amount=number_not_below_zero(amount, "consumable_price", "The price", currency),
        currency=currency_code(currency),
        seen_on=day_seen(seen_on, "consumable_price_seen_on", "The price"),
        source=source_text(source, "consumable_price_source", "The price"),
    )
    session.add(price)
    session.flush()
    after = f"{price.amount:.2f} {price.currency} on {price.seen_on.isoformat()}"
    record_change(
        session, who, "added", SUBJECT, consumable.unit_under_test_id, f"price of {consumable.name}", None, after
    )
    return price.id


def _life(value: float | None, shortest: float, field: str, unit: str) -> float | None:
    life = optional_above_zero(value, field, "The life", unit)
    if life is not None and life < shortest:
        raise InvalidValue(
            f"The life is {life:g} {unit}; at least {shortest:g} is needed. Correct it, or leave it empty where it is "
            "not known.",
            field=field,
        )
    return life


def say_none_needed(session: Session, unit_id: int, *, who: str = AT_THE_DESK) -> None:
    """Records that the unit needs no filter or other consumable."""
    unit = get_unit(session, unit_id)
    listed = session.scalar(select(Consumable.name).where(Consumable.unit_under_test_id == unit_id).limit(1))
    if listed is not None:
        raise InvalidValue(
            f"{unit.maker} {unit.model} has a consumable {listed!r}, so it cannot be said to need none. "
            "Take the consumable off first.",
            field="consumables_state",
        )
    change_unit(session, unit_id, {"consumables_state": "none needed"}, who=who)
