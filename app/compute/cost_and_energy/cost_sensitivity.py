"""One-at-a-time sensitivity: which assumption changes the order of the units by cost."""

from collections.abc import Callable
from dataclasses import dataclass, replace

from app.compute.cost_and_energy.cost_over_years import cost_over_years
from app.compute.cost_and_energy.running_cost import CostAssumptions, OwnedUnit


@dataclass(frozen=True, slots=True)
class Assumption:
    """One assumption and the two values it is moved to; `apply` gives units, assumptions and years at a value."""

    name: str
    unit_symbol: str
    low: float
    base: float
    high: float
    apply: Callable[[float], tuple[tuple[OwnedUnit, ...], CostAssumptions, int]]


@dataclass(frozen=True, slots=True)
class Moved:
    """Result with one assumption at one value: totals by unit name, and the order, cheapest first."""

    value: float
    totals: tuple[tuple[str, float], ...]
    order: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Sensitivity:
    """Effect of changing one assumption.

    base_totals : totals by unit name under the chosen assumptions
    low, high : totals and order with the assumption at its low and its high value, the others as chosen
    changed_places : pairs of units whose order changes at either end
    """

    assumption: str
    unit_symbol: str
    low: Moved
    high: Moved
    changed_places: tuple[tuple[str, str], ...]
    base_totals: tuple[tuple[str, float], ...] = ()


def one_at_a_time(
    units: tuple[OwnedUnit, ...], assumptions: CostAssumptions, years: int = 5
) -> tuple[Sensitivity, ...]:
    """Cost of owning of every unit with one assumption changed at a time.

    Parameters
        units : two units or more, with different names
        assumptions, years : the reader's choice, unchanged except for the one that is varied
    Returns  one entry for each assumption: price of a kilowatt-hour halved and doubled, hours per day halved and
        doubled (at most 24 h), filter life two thirds and one and a half times, years of use 1 to twice the choice,
        discount rate 0 and 10 %. The ranges are common practice, no source.
    Raises   ValueError for fewer than two units or two of one name
    Notes    A total with something missing is a lower bound; the order is then that of the lower bounds.
    """
    names = [unit.name for unit in units]
    if len(units) < 2 or len(set(names)) < len(names):
        raise ValueError(f"The units are {names}; the order needs two or more units with different names.")
    base = _moved(0.0, units, assumptions, years)
    found = []
    for assumption in _assumptions(units, assumptions, years):
        low = _moved(assumption.low, *assumption.apply(assumption.low))
        high = _moved(assumption.high, *assumption.apply(assumption.high))
        changed = {*_changed_places(base.order, low.order), *_changed_places(base.order, high.order)}
        found.append(
            Sensitivity(
                assumption.name,
                assumption.unit_symbol,
                low,
                high,
                tuple(sorted(changed)),
                base.totals,
            )
        )
    return tuple(found)


def _assumptions(units: tuple[OwnedUnit, ...], assumptions: CostAssumptions, years: int) -> tuple[Assumption, ...]:
    hours = max(sum(part.hours_per_day for part in unit.parts) for unit in units)
    longest_factor = min(2.0, 24.0 / hours) if hours else 1.0
    price = assumptions.price_per_kwh
    return (
        Assumption(
            "electricity",
            f"{assumptions.currency}/kWh",
            price / 2,
            price,
            price * 2,
            lambda value: (units, replace(assumptions, price_per_kwh=value), years),
        ),
        Assumption(
            "hours per day",
            "h",
            hours / 2,
            hours,
            hours * longest_factor,
            lambda value: (_with_hours(units, value / hours if hours else 1.0), assumptions, years),
        ),
        Assumption(
            "filter life",
            "times",
            0.67,
            1.0,
            1.5,
            lambda value: (_with_life(units, value), assumptions, years),
        ),
        Assumption(
            "years of use", "years", 1, years, min(2 * years, 30), lambda value: (units, assumptions, int(value))
        ),
        Assumption(
            "discount rate",
            "per year",
            0.0,
            assumptions.discount_rate,
            0.10,
            lambda value: (units, replace(assumptions, discount_rate=value), years),
        ),
    )


def _moved(value: float, units: tuple[OwnedUnit, ...], assumptions: CostAssumptions, years: int) -> Moved:
    totals = tuple((unit.name, cost_over_years(unit, assumptions, years, with_curve=False).total) for unit in units)
    order = tuple(name for name, _ in sorted(totals, key=lambda pair: (round(pair[1], 6), pair[0])))
    return Moved(value, totals, order)


def _changed_places(base: tuple[str, ...], other: tuple[str, ...]) -> list[tuple[str, str]]:
    place = {name: index for index, name in enumerate(other)}
    return [(before, after) for i, before in enumerate(base) for after in base[i + 1 :] if place[before] > place[after]]


def _with_hours(units: tuple[OwnedUnit, ...], factor: float) -> tuple[OwnedUnit, ...]:
    return tuple(
        replace(
            unit,
            parts=tuple(replace(part, hours_per_day=min(24.0, part.hours_per_day * factor)) for part in unit.parts),
        )
        for unit in units
    )


def _with_life(units: tuple[OwnedUnit, ...], factor: float) -> tuple[OwnedUnit, ...]:
    return tuple(
        replace(
            unit,
            consumables=None
            if unit.consumables is None
            else tuple(
                replace(
                    part,
                    life_months=part.life_months and part.life_months * factor,
                    life_running_hours=part.life_running_hours and part.life_running_hours * factor,
                )
                for part in unit.consumables
            ),
        )
        for unit in units
    )
