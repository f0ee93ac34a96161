"""When filters and other parts wear out, and their cost per year."""

import math
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class ConsumablePart:
    """A part that wears out, as recorded on the bench.

    pieces_in_use : pieces that work at the same time, all replaced together
    pack_size : pieces in one pack
    price_per_pack : money for one pack; None: not known
    life_months : calendar life [months]; life_running_hours : life in hours with the fan running [h];
        both given: whichever comes first; neither: not known
    washable : washed instead of replaced; costs nothing
    first_set_included : comes with the unit when bought (false for water and additives)
    price_missing_because : reason why there is no price, for the message
    """

    name: str
    pieces_in_use: int = 1
    pack_size: int = 1
    price_per_pack: float | None = None
    life_months: float | None = None
    life_running_hours: float | None = None
    washable: bool = False
    first_set_included: bool = True
    price_missing_because: str = "its price is not recorded"

    def __post_init__(self) -> None:
        if self.pieces_in_use < 1 or self.pack_size < 1:
            raise ValueError(
                f"{self.name}: {self.pieces_in_use} pieces in use and {self.pack_size} in a pack were given; both "
                "must be 1 or more."
            )
        for what, value in (
            ("life in months", self.life_months),
            ("life in running hours", self.life_running_hours),
        ):
            if value is not None and not value > 0:
                raise ValueError(f"{self.name}: the {what} is {value:g}; it must be above zero.")
        if self.price_per_pack is not None and not self.price_per_pack >= 0:
            raise ValueError(f"{self.name}: the price of a pack is {self.price_per_pack:g}; it must be 0 or above.")

    @property
    def missing(self) -> str:
        """Why the cost of this part is not known; empty where it is."""
        if self.washable:
            return ""
        if self.price_per_pack is None:
            return f"{self.name}: {self.price_missing_because}, so its cost is not included."
        if self.life_months is None and self.life_running_hours is None:
            return f"{self.name}: its life is not recorded, so its cost is not included."
        return ""

    @property
    def price_of_a_set(self) -> float:
        """Price of the pieces of one replacement, counting part of a pack in proportion; zero if not known."""
        return (self.price_per_pack or 0.0) * self.pieces_in_use / self.pack_size


def replacement_interval_years(part: ConsumablePart, running_hours_per_year: float) -> float:
    r"""Time between two replacements, whichever of the two lives ends first.

    .. math:: T = \min\left(\frac{m}{12}, \frac{h}{H}\right)

    Parameters
        part : m its life in months, h its life in running hours
        running_hours_per_year : H, hours a year with the fan running [h]
    Returns  T [years]; infinite for a washable part, for an unknown life, and for a life in running hours of a
        unit that never runs
    >>> replacement_interval_years(ConsumablePart("filter", life_months=12, life_running_hours=4380), 8760)
    0.5
    """
    if part.washable:
        return math.inf
    by_calendar = math.inf if part.life_months is None else part.life_months / 12
    if part.life_running_hours is None or running_hours_per_year <= 0:
        return by_calendar
    return min(by_calendar, part.life_running_hours / running_hours_per_year)


def consumable_cost_per_year(part: ConsumablePart, running_hours_per_year: float) -> float:
    """Long-run mean cost of a part: price of a set over the replacement interval [money per year].

    Zero for a washable part, and for one whose cost is missing (see `ConsumablePart.missing`).

    >>> consumable_cost_per_year(ConsumablePart("filter", pack_size=2, price_per_pack=30, life_months=6), 8760)
    30.0
    """
    if part.missing:
        return 0.0
    return part.price_of_a_set / replacement_interval_years(part, running_hours_per_year)


@dataclass(frozen=True, slots=True)
class Purchase:
    """Packs bought at one replacement: when [years from buying the unit], packs, money."""

    at_years: float
    packs: int
    amount: float


def purchases(part: ConsumablePart, running_hours_per_year: float, years: float) -> tuple[Purchase, ...]:
    """Whole packs bought for the replacements of a part within the period.

    Pieces left over from a pack are used first. A replacement due at the very end is not bought, because the unit does
    not run on it.

    >>> purchases(ConsumablePart("filter", pack_size=2, price_per_pack=30.0, life_months=12), 8760, years=4)
    (Purchase(at_years=1.0, packs=1, amount=30.0), Purchase(at_years=3.0, packs=1, amount=30.0))
    """
    if part.missing:
        return ()
    interval = replacement_interval_years(part, running_hours_per_year)
    if math.isinf(interval):
        return ()
    bought = []
    pieces_left = 0
    replacement = 1 if part.first_set_included else 0
    while replacement * interval < years - 1e-9:
        packs = max(0, math.ceil((part.pieces_in_use - pieces_left) / part.pack_size))
        pieces_left += packs * part.pack_size - part.pieces_in_use
        if packs:
            bought.append(Purchase(replacement * interval, packs, packs * (part.price_per_pack or 0.0)))
        replacement += 1
    return tuple(bought)
