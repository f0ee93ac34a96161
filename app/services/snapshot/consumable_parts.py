"""Consumables of all units with their current price, in one query, as input of the cost calculation."""

from collections.abc import Collection, Mapping, Sequence
from typing import Any, NamedTuple

from sqlalchemy import Connection, Integer, Select, bindparam, case, select, type_coerce

from app.compute.cost_and_energy.consumable_life import ConsumablePart
from app.services.snapshot.computed_when_asked import ComputedWhenAsked
from app.storage.models.units_under_test import Consumable, ConsumablePrice

_NOT_IN_THE_BOX = ("water", "additive")  # kinds that have to be bought on the first day


class ConsumableRow(NamedTuple):
    """One consumable of one unit with its latest price; a NamedTuple, because it is filled from the driver's tuple."""

    unit_id: int
    name: str
    kind: str
    washable: int
    pieces_in_use: int
    pack_size: int
    life_months: float | None
    life_running_hours: float | None
    price_per_pack: float | None
    price_currency: str | None


def _build() -> Select[*tuple[object, ...]]:
    ours = case((ConsumablePrice.currency == bindparam("currency"), 0), else_=1)
    newest = (
        select(ConsumablePrice.id)
        .where(ConsumablePrice.consumable_id == Consumable.id)
        .order_by(ours, ConsumablePrice.seen_on.desc(), ConsumablePrice.id.desc())
        .limit(1)
        .correlate(Consumable)
        .scalar_subquery()
    )
    return (
        select(
            Consumable.unit_under_test_id,
            Consumable.name,
            Consumable.kind,
            type_coerce(Consumable.washable, Integer),
            Consumable.pieces_in_use,
            Consumable.pack_size,
            Consumable.life_months,
            Consumable.life_running_hours,
            ConsumablePrice.amount,
            ConsumablePrice.currency,
        )
        .outerjoin(ConsumablePrice, ConsumablePrice.id == newest)
        .order_by(Consumable.unit_under_test_id, Consumable.name)
    )


_QUERY = _build()
_SOME = _QUERY.where(Consumable.unit_under_test_id.in_(bindparam("unit_ids", expanding=True)))


def read_consumable_parts(
    connection: Connection, currency: str, unit_ids: Collection[int] | None = None
) -> Mapping[int, tuple[ConsumablePart, ...]]:
    """Consumables by unit, of all or some units. A price in `currency` is preferred."""
    found: dict[Any, list[Sequence[Any]]] = {}
    values: dict[str, object] = {"currency": currency}
    if unit_ids is not None:
        values["unit_ids"] = list(unit_ids)
    for row in connection.execute(_QUERY if unit_ids is None else _SOME, values).all():
        found.setdefault(row[0], []).append(row)
    return ComputedWhenAsked(found, lambda rows: tuple(_part(ConsumableRow._make(row), currency) for row in rows))


def parts_needed(parts: tuple[ConsumablePart, ...], consumables_state: str) -> tuple[ConsumablePart, ...] | None:
    """The parts of one unit; None if it is not recorded whether it needs any, () if it needs none."""
    if not parts:
        return () if consumables_state == "none needed" else None
    return parts


def _part(row: ConsumableRow, currency: str) -> ConsumablePart:
    in_currency = row.price_currency == currency
    elsewhere = row.price_per_pack is not None and not in_currency
    because = f"its price is in {row.price_currency}, not in {currency}" if elsewhere else "its price is not recorded"
    return ConsumablePart(
        name=row.name,
        pieces_in_use=row.pieces_in_use,
        pack_size=row.pack_size,
        price_per_pack=row.price_per_pack if in_currency else None,
        life_months=row.life_months,
        life_running_hours=row.life_running_hours,
        washable=bool(row.washable),
        first_set_included=row.kind not in _NOT_IN_THE_BOX,
        price_missing_because=because,
    )
