"""Units with their settings, prices and consumables, many at once and as plain rows.

ORM objects would take three quarters of the time of a list of a hundred units.
"""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, fields
from datetime import date, datetime
from typing import Any, NamedTuple

from sqlalchemy import BindParameter, bindparam, select
from sqlalchemy.orm import Session, selectinload

from app.errors import NotFound
from app.services.store.entry_fields import stored_values
from app.services.units.definitions import NewConsumable, NewPrice, NewUnit
from app.storage.models.units_under_test import Consumable, ConsumablePrice, Price, SpeedSetting, UnitUnderTest


class SettingOfUnit(NamedTuple):
    """A speed setting, as stored."""

    id: int
    name: str
    position: int
    is_highest: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class PriceSeen(NewPrice):
    """A price as stored."""

    amount: float
    seen_on: date


@dataclass(frozen=True, slots=True, kw_only=True)
class ConsumableOfUnit(NewConsumable):
    """A part that wears out, as stored, with its prices from the oldest."""

    id: int
    prices: tuple[PriceSeen, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class UnitWithParts(NewUnit):
    """A unit as stored; settings from the slowest, prices from the oldest, consumables in the order of their names."""

    id: int
    trashed_at: datetime | None
    settings: tuple[SettingOfUnit, ...]
    prices: tuple[PriceSeen, ...]
    consumables: tuple[ConsumableOfUnit, ...]


def with_parts(session: Session, units: Sequence[UnitUnderTest]) -> tuple[UnitWithParts, ...]:
    """The units with settings, prices and consumables, in four queries."""
    ids = {"ids": [unit.id for unit in units]}
    settings = _by_owner(session.execute(_SETTINGS, ids), SettingOfUnit, SettingOfUnit._fields)
    prices = _by_owner(session.execute(_PRICES, ids), PriceSeen, _OF_PRICE)
    pack_prices = _by_owner(session.execute(_PACK_PRICES, ids), PriceSeen, _OF_PRICE)
    consumables: dict[int, list[ConsumableOfUnit]] = defaultdict(list)
    for owner, consumable_id, *facts in session.execute(_CONSUMABLES, ids):
        part = dict(zip(_OF_CONSUMABLE, facts, strict=True))
        prices_of_pack = tuple(pack_prices[consumable_id])
        consumables[owner].append(ConsumableOfUnit(id=consumable_id, prices=prices_of_pack, **part))
    return tuple(
        UnitWithParts(
            id=unit.id,
            trashed_at=unit.trashed_at,
            **stored_values(NewUnit, unit),
            settings=tuple(settings[unit.id]),
            prices=tuple(prices[unit.id]),
            consumables=tuple(consumables[unit.id]),
        )
        for unit in units
    )


def unit_with_parts(session: Session, unit_id: int) -> UnitUnderTest:
    """A unit with its current settings, prices and consumables. Raises NotFound."""
    statement = (
        select(UnitUnderTest)
        .where(UnitUnderTest.id == unit_id)
        .options(
            selectinload(UnitUnderTest.settings),
            selectinload(UnitUnderTest.prices),
            selectinload(UnitUnderTest.consumables).selectinload(Consumable.prices),
        )
    )
    unit = session.scalar(statement.execution_options(populate_existing=True))
    if unit is None:
        raise NotFound("unit under test", unit_id)
    return unit


_OF_PRICE = tuple(field.name for field in fields(NewPrice))
_OF_CONSUMABLE = tuple(field.name for field in fields(NewConsumable))
_IDS: BindParameter[Any] = bindparam("ids", expanding=True)
_SETTINGS = (
    select(SpeedSetting.unit_under_test_id, *(getattr(SpeedSetting, name) for name in SettingOfUnit._fields))
    .where(SpeedSetting.unit_under_test_id.in_(_IDS))
    .order_by(SpeedSetting.position, SpeedSetting.id)
)
_PRICES = (
    select(Price.unit_under_test_id, *(getattr(Price, name) for name in _OF_PRICE))
    .where(Price.unit_under_test_id.in_(_IDS))
    .order_by(Price.seen_on, Price.id)
)
_CONSUMABLES = (
    select(Consumable.unit_under_test_id, Consumable.id, *(getattr(Consumable, name) for name in _OF_CONSUMABLE))
    .where(Consumable.unit_under_test_id.in_(_IDS))
    .order_by(Consumable.name, Consumable.id)
)
_PACK_PRICES = (
    select(ConsumablePrice.consumable_id, *(getattr(ConsumablePrice, name) for name in _OF_PRICE))
    .join(Consumable, Consumable.id == ConsumablePrice.consumable_id)
    .where(Consumable.unit_under_test_id.in_(_IDS))
    .order_by(ConsumablePrice.seen_on, ConsumablePrice.id)
)


def _by_owner(rows: Iterable[Any], kind: Any, names: Sequence[str]) -> dict[int, list[Any]]:
    found: dict[int, list[Any]] = defaultdict(list)
    for owner, *facts in rows:
        found[owner].append(kind(**dict(zip(names, facts, strict=True))))
    return found
