"""Units with their settings, prices and consumables, many at once and as plain rows.

ORM objects would take three quarters of the time of a list of a hundred units.
"""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any, NamedTuple

from sqlalchemy import BindParameter, bindparam, select
from sqlalchemy.orm import Session

from app.storage.models.units_under_test import Consumable, ConsumablePrice, Price, SpeedSetting, UnitUnderTest


class SettingOfUnit(NamedTuple):
    """A speed setting, as stored."""

    id: int
    name: str
    position: int
    is_highest: bool


class PriceSeen(NamedTuple):
    """A price of a unit or of a pack of a consumable, as stored."""

    amount: float
    currency: str
    seen_on: date
    source: str


@dataclass(frozen=True, slots=True)
class ConsumableOfUnit:
    """A consumable as stored, with its prices, oldest first."""

    prices: tuple[PriceSeen, ...]
    id: int
    name: str
    kind: str
    washable: bool
    pieces_in_use: int
    pack_size: int
    life_months: float | None
    life_running_hours: float | None
    life_source: str
    notes: str


@dataclass(frozen=True, slots=True)
class UnitWithParts:
    """A unit as stored; settings from the slowest, prices oldest first, consumables by name."""

    id: int
    maker: str
    model: str
    kind: str
    makes_ozone: bool
    consumables_state: str
    width_mm: float | None
    depth_mm: float | None
    height_mm: float | None
    mass_kg: float | None
    bought_on: date | None
    bought_from: str
    serial_number: str
    notes: str
    trashed_at: datetime | None
    settings: tuple[SettingOfUnit, ...]
    prices: tuple[PriceSeen, ...]
    consumables: tuple[ConsumableOfUnit, ...]


def with_parts(session: Session, units: Sequence[UnitUnderTest]) -> tuple[UnitWithParts, ...]:
    """The units with settings, prices and consumables, in four queries."""
    ids = {"ids": [unit.id for unit in units]}
    settings = _by_owner(session.execute(_SETTINGS, ids), SettingOfUnit)
    prices = _by_owner(session.execute(_PRICES, ids), PriceSeen)
    pack_prices = _by_owner(session.execute(_PACK_PRICES, ids), PriceSeen)
    consumables: dict[int, list[ConsumableOfUnit]] = defaultdict(list)
    for owner, consumable_id, *facts in session.execute(_CONSUMABLES, ids):
        consumables[owner].append(ConsumableOfUnit(tuple(pack_prices[consumable_id]), consumable_id, *facts))
    return tuple(
        UnitWithParts(
            **{name: getattr(unit, name) for name in _OWN},
            settings=tuple(settings[unit.id]),
            prices=tuple(prices[unit.id]),
            consumables=tuple(consumables[unit.id]),
        )
        for unit in units
    )


_OWN = tuple(name for name in UnitWithParts.__slots__ if name not in ("settings", "prices", "consumables"))
_IDS: BindParameter[Any] = bindparam("ids", expanding=True)
_SETTINGS = (
    select(SpeedSetting.unit_under_test_id, *(getattr(SpeedSetting, name) for name in SettingOfUnit._fields))
    .where(SpeedSetting.unit_under_test_id.in_(_IDS))
    .order_by(SpeedSetting.position, SpeedSetting.id)
)
_PRICES = (
    select(Price.unit_under_test_id, *(getattr(Price, name) for name in PriceSeen._fields))
    .where(Price.unit_under_test_id.in_(_IDS))
    .order_by(Price.seen_on, Price.id)
)
_CONSUMABLES = (
    select(
        Consumable.unit_under_test_id,
        *(getattr(Consumable, name) for name in ConsumableOfUnit.__slots__ if name != "prices"),
    )
    .where(Consumable.unit_under_test_id.in_(_IDS))
    .order_by(Consumable.name, Consumable.id)
)
_PACK_PRICES = (
    select(ConsumablePrice.consumable_id, *(getattr(ConsumablePrice, name) for name in PriceSeen._fields))
    .join(Consumable, Consumable.id == ConsumablePrice.consumable_id)
    .where(Consumable.unit_under_test_id.in_(_IDS))
    .order_by(ConsumablePrice.seen_on, ConsumablePrice.id)
)


def _by_owner(rows: Iterable[Any], kind: Any) -> dict[int, list[Any]]:
    found: dict[int, list[Any]] = defaultdict(list)
    for owner, *facts in rows:
        found[owner].append(kind(*facts))
    return found
