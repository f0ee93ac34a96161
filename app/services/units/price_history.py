"""Prices of a unit and its consumables over time, in one currency."""

from collections import Counter
from dataclasses import dataclass
from datetime import date

from sqlalchemy import select
from sqlalchemy.orm import Session, selectinload

from app.errors import NotFound
from app.storage.models.units_under_test import Consumable, ConsumablePrice, Price, UnitUnderTest


@dataclass(frozen=True, slots=True)
class SeenPrice:
    amount: float
    seen_on: date
    source: str


@dataclass(frozen=True, slots=True)
class PriceLine:
    """Prices of the unit or of one pack of a consumable, oldest first."""

    name: str
    is_unit: bool
    prices: tuple[SeenPrice, ...]


@dataclass(frozen=True, slots=True)
class PriceHistory:
    """Lines with a price in the unit's most common currency."""

    unit_id: int
    unit_name: str
    currency: str
    lines: tuple[PriceLine, ...]
    in_other_currencies: int


def price_history(session: Session, unit_id: int) -> PriceHistory:
    """Raises NotFound for an unknown unit."""
    unit = session.scalar(
        select(UnitUnderTest)
        .where(UnitUnderTest.id == unit_id)
        .options(
            selectinload(UnitUnderTest.prices),
            selectinload(UnitUnderTest.consumables).selectinload(Consumable.prices),
        )
    )
    if unit is None:
        raise NotFound("unit under test", unit_id)
    name = f"{unit.maker} {unit.model}"
    rows: list[tuple[str, bool, list[Price] | list[ConsumablePrice]]] = [
        (unit.model, True, unit.prices),
        *((part.name, False, part.prices) for part in unit.consumables),
    ]
    currencies = Counter(price.currency for _, _, prices in rows for price in prices)
    currency = min(currencies, key=lambda code: (-currencies[code], code)) if currencies else "USD"
    lines = []
    for words, is_unit, prices in rows:
        seen = tuple(SeenPrice(p.amount, p.seen_on, p.source) for p in prices if p.currency == currency)
        if seen:
            lines.append(PriceLine(words, is_unit, seen))
    return PriceHistory(unit_id, name, currency, tuple(lines), currencies.total() - currencies[currency])
