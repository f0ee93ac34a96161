"""Yearly running cost of a unit: energy and each consumable, with a list of what is missing.

Money is in one currency throughout; the caller leaves out prices in another currency and says so. These modules load
neither numpy nor scipy, so that the costs page opens fast.
"""

import math
from dataclasses import dataclass
from typing import NamedTuple

from app.compute.cost_and_energy.consumable_life import (
    ConsumablePart,
    consumable_cost_per_year,
    replacement_interval_years,
)
from app.compute.cost_and_energy.energy_use import EnergyUse, RunningPart, energy_use

# Relative standard uncertainty of a stated filter life. Common practice, no source: a life depends on the dust in the
# home, and makers state round numbers. The page shows it and the reader can change it.
FILTER_LIFE_RELATIVE_UNCERTAINTY = 0.25
_COVERAGE_95 = 1.959963984540054


@dataclass(frozen=True, slots=True)
class OwnedUnit:
    """A unit with its usage pattern, for the cost calculation.

    name : for messages
    parts : settings used on a day of use with hours and watts
    standby_power_w : None where not measured
    purchase_price : None where not recorded, or only in another currency; `price_missing_because` says which
    consumables : None where the bench has not recorded whether the unit needs any; an empty tuple: it needs none
    """

    name: str
    parts: tuple[RunningPart, ...]
    standby_power_w: float | None = None
    standby_power_uncertainty_w: float = 0.0
    purchase_price: float | None = None
    price_missing_because: str = "The purchase price is not recorded"
    consumables: tuple[ConsumablePart, ...] | None = None


@dataclass(frozen=True, slots=True)
class CostAssumptions:
    """What the reader chooses: price of a kilowatt-hour, days of use, discount rate per year (0.03 for 3 %),
    whether the unit is unplugged when off, and the relative standard uncertainty of a filter's life."""

    price_per_kwh: float
    currency: str = "USD"
    days_per_year: float = 365.0
    discount_rate: float = 0.0
    unplugged_when_off: bool = False
    filter_life_relative_uncertainty: float = FILTER_LIFE_RELATIVE_UNCERTAINTY

    def __post_init__(self) -> None:
        if not self.price_per_kwh >= 0:
            raise ValueError(f"The price per kilowatt-hour is {self.price_per_kwh:g}; it must be zero or above.")
        if not -0.5 < self.discount_rate < 1:
            raise ValueError(f"The discount rate is {self.discount_rate:g}; it must be between -0.5 and 1.")
        if not 0 <= self.filter_life_relative_uncertainty < 1:
            raise ValueError(
                f"The relative uncertainty of filter life is {self.filter_life_relative_uncertainty:g}; it must be at "
                "least 0 and below 1."
            )


class ConsumableCost(NamedTuple):
    """Cost of one consumable in a year. `missing` holds the reason where it could not be counted.

    uncertainty_per_year : standard uncertainty, from that of the life alone; a price is taken as exact
    """

    name: str
    cost_per_year: float
    uncertainty_per_year: float
    replaced_every_years: float
    washable: bool
    missing: str


class RunningCost(NamedTuple):
    """Cost of running a unit for a year, long-run mean, purchase price left out.

    uncertainty_per_year : standard uncertainty from power readings and filter life [money]
    energy_uncertainty_per_year : the part from power readings alone [money]
    at_least : something is missing, so the total is a lower bound; `missing` says what, a sentence each
    """

    currency: str
    energy: EnergyUse
    energy_cost_per_year: float
    consumables: tuple[ConsumableCost, ...]
    needs_no_consumables: bool
    uncertainty_per_year: float
    missing: tuple[str, ...]
    energy_uncertainty_per_year: float = 0.0

    @property
    def consumables_cost_per_year(self) -> float:
        return sum(line.cost_per_year for line in self.consumables)

    @property
    def consumables_missing(self) -> tuple[str, ...]:
        """Consumables that could not be counted; their cost is then a lower bound (unknown if 0)."""
        return tuple(sentence for sentence in self.missing if sentence not in self.energy.missing)

    @property
    def total_per_year(self) -> float:
        return self.energy_cost_per_year + self.consumables_cost_per_year

    @property
    def at_least(self) -> bool:
        return bool(self.missing)

    @property
    def interval_95(self) -> tuple[float, float]:
        """95 % interval, never below zero, infinite degrees of freedom."""
        return _interval_95(self.total_per_year, self.uncertainty_per_year)

    @property
    def energy_interval_95(self) -> tuple[float, float]:
        return _interval_95(self.energy_cost_per_year, self.energy_uncertainty_per_year)

    @property
    def consumables_interval_95(self) -> tuple[float, float]:
        """Treats the lives of the parts as independent of each other."""
        uncertainty = math.hypot(*(line.uncertainty_per_year for line in self.consumables))
        return _interval_95(self.consumables_cost_per_year, uncertainty)


def _interval_95(amount: float, uncertainty: float) -> tuple[float, float]:
    half = _COVERAGE_95 * uncertainty
    return max(0.0, amount - half), amount + half


def energy_of(unit: OwnedUnit, assumptions: CostAssumptions) -> EnergyUse:
    """Energy of a unit over a year under the reader's assumptions."""
    return energy_use(
        unit.parts,
        days_per_year=assumptions.days_per_year,
        standby_power_w=unit.standby_power_w,
        standby_power_uncertainty_w=unit.standby_power_uncertainty_w,
        unplugged_when_off=assumptions.unplugged_when_off,
    )


def running_cost(unit: OwnedUnit, assumptions: CostAssumptions) -> RunningCost:
    r"""Cost of running a unit for a year.

    .. math:: K = p E + \sum_j \frac{s_j}{T_j}

    with p the price of a kilowatt-hour, E the energy of a year, s the price of one set of a consumable and T the
    time between its replacements. The standard uncertainty combines u(E) p and u_L s/T of each consumable as
    independent [1]_, u_L being the relative uncertainty of its life.

    Returns  cost with what is missing [money per year]
    References
    .. [1] JCGM 100:2008, 5.1.2.
    >>> unit = OwnedUnit("box", (RunningPart(24.0, 12.5),), consumables=())
    >>> cost = running_cost(unit, CostAssumptions(price_per_kwh=0.16))
    >>> round(cost.total_per_year, 2), cost.at_least
    (17.52, False)
    >>> running_cost(OwnedUnit("box", (RunningPart(24.0, 12.5),)), CostAssumptions(price_per_kwh=0.16)).missing
    ('Whether the unit needs filters or other consumables is not recorded, so they are not included.',)
    """
    energy = energy_of(unit, assumptions)
    hours, of_life = energy.running_hours_per_year, assumptions.filter_life_relative_uncertainty
    lines = tuple(
        ConsumableCost(
            part.name,
            (cost := consumable_cost_per_year(part, hours)),
            of_life * cost,
            replacement_interval_years(part, hours),
            part.washable,
            part.missing,
        )
        for part in unit.consumables or ()
    )
    missing = energy.missing + tuple(line.missing for line in lines if line.missing)
    if unit.consumables is None:
        missing += ("Whether the unit needs filters or other consumables is not recorded, so they are not included.",)
    of_energy = energy.uncertainty_kwh_per_year * assumptions.price_per_kwh
    variance = of_energy**2 + sum(line.uncertainty_per_year**2 for line in lines)
    return RunningCost(
        currency=assumptions.currency,
        energy=energy,
        energy_cost_per_year=energy.energy_kwh_per_year * assumptions.price_per_kwh,
        consumables=lines,
        needs_no_consumables=unit.consumables == (),
        uncertainty_per_year=variance**0.5,
        missing=missing,
        energy_uncertainty_per_year=of_energy,
    )
