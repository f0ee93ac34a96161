"""Cumulative cost of a unit from its purchase: energy as a slope, and a step at each replacement."""

import math
from dataclasses import dataclass, replace

from app.compute.cost_and_energy.consumable_life import ConsumablePart, purchases
from app.compute.cost_and_energy.running_cost import CostAssumptions, OwnedUnit, energy_of, running_cost

LONGEST_YEARS = 30
_POINTS_PER_YEAR = 12
_COVERAGE_95 = 1.959963984540054
_SAME_DAY = 1e-9  # years


@dataclass(frozen=True, slots=True)
class SpentByCause:
    """Money spent by the end of `at_years`, by cause; today's value where a discount rate is set.

    uncertainty : standard uncertainty of the total, combined as for a year's running cost: energy and the
    long-run cost of each consumable, as independent. Prices count as exact.
    """

    at_years: float
    purchase: float
    energy: float
    consumables: tuple[tuple[str, float], ...]
    uncertainty: float

    @property
    def interval_95(self) -> tuple[float, float]:
        """95 % interval with infinite degrees of freedom, never below the purchase price."""
        half = _COVERAGE_95 * self.uncertainty
        return max(self.purchase, self.total - half), self.total + half

    @property
    def total(self) -> float:
        return self.purchase + self.energy + sum(amount for _, amount in self.consumables)


@dataclass(frozen=True, slots=True)
class PathPoint:
    """A point of the cumulative curve. At a replacement two points share a time: before and after the step."""

    at_years: float
    total: float


@dataclass(frozen=True, slots=True)
class Step:
    """A purchase that makes a step in the curve: item, time, packs, and money on the day (not discounted)."""

    name: str
    at_years: float
    packs: int
    amount: float


@dataclass(frozen=True, slots=True)
class CostOverYears:
    """Cost of owning over whole years.

    by_year : money spent by the end of year 0, 1, ... ; year 0 is the purchase and what is bought on the first day
    path, low, high : the curve, and its band: power and filter life both at the favourable and both at the
        unfavourable end of their 95 % range, so the band is wider than 95 % [money]
    steps : the replacements, in order of time
    missing : costs left out, a sentence each; then every total is a lower bound
    """

    name: str
    currency: str
    by_year: tuple[SpentByCause, ...]
    path: tuple[PathPoint, ...]
    low: tuple[PathPoint, ...]
    high: tuple[PathPoint, ...]
    steps: tuple[Step, ...]
    missing: tuple[str, ...]

    @property
    def at_least(self) -> bool:
        return bool(self.missing)

    @property
    def total(self) -> float:
        return self.by_year[-1].total

    @property
    def interval_95(self) -> tuple[float, float]:
        """95 % interval of the total."""
        return self.by_year[-1].interval_95


def present_value_of_steady_cost(cost_per_year: float, discount_rate: float, years: float) -> float:
    r"""Present value of a steady cost over some years.

    .. math:: PV = c \int_0^n (1 + r)^{-t} dt = c\,\frac{1 - (1 + r)^{-n}}{\ln(1 + r)}

    with c the cost per year [money/year], r the discount rate per year and n the years; c n for r = 0.
    Source: the definition of a present value with yearly rate r, integrated; recomputed.

    >>> present_value_of_steady_cost(100.0, 0.0, 5.0)
    500.0
    >>> round(present_value_of_steady_cost(100.0, 0.05, 5.0), 2)
    443.68
    """
    force = math.log1p(discount_rate)
    return cost_per_year * years if force == 0 else cost_per_year * -math.expm1(-force * years) / force


def cost_over_years(
    unit: OwnedUnit, assumptions: CostAssumptions, years: int = 10, *, with_curve: bool = True
) -> CostOverYears:
    """Cumulative cost of owning a unit over whole years, replacements as steps on the day they fall due.

    Parameters
        unit, assumptions : as in `running_cost`; later money is discounted to its value on the first day
        years : 1 to 30 [years]
        with_curve : False leaves the curve and its band empty, for a long list of units
    Returns  totals by year and cause, the curve with its band, and the steps
    Raises   ValueError for years outside 1 to 30
    Notes    Prices stay as they are today. A replacement due at the very end of the period is not bought.

    >>> filter_ = ConsumablePart("filter", price_per_pack=40.0, life_months=12)
    >>> from app.compute.cost_and_energy.energy_use import RunningPart
    >>> unit = OwnedUnit("a", (RunningPart(24.0, 50.0),), purchase_price=200.0, consumables=(filter_,))
    >>> owned = cost_over_years(unit, CostAssumptions(price_per_kwh=0.20), years=5)
    >>> [round(year.total, 2) for year in owned.by_year]
    [200.0, 287.6, 415.2, 542.8, 670.4, 798.0]
    """
    if not 1 <= years <= LONGEST_YEARS:
        raise ValueError(f"The time span is {years} years; it must be between 1 and {LONGEST_YEARS}.")
    running = running_cost(unit, assumptions)
    missing = running.missing
    if unit.purchase_price is None:
        missing = (f"{unit.price_missing_because}, so it is not included.", *missing)
    steps = _steps(unit, assumptions, years)
    life_factor = 1 + _COVERAGE_95 * assumptions.filter_life_relative_uncertainty
    return CostOverYears(
        name=unit.name,
        currency=assumptions.currency,
        by_year=tuple(_by_year(unit, assumptions, steps, years, running.uncertainty_per_year)),
        path=_path(unit, assumptions, years) if with_curve else (),
        low=_path(_shifted(unit, -_COVERAGE_95, life_factor), assumptions, years) if with_curve else (),
        high=_path(_shifted(unit, _COVERAGE_95, 1 / life_factor), assumptions, years) if with_curve else (),
        steps=steps,
        missing=missing,
    )


def _steps(unit: OwnedUnit, assumptions: CostAssumptions, years: float) -> tuple[Step, ...]:
    hours = energy_of(unit, assumptions).running_hours_per_year
    found = [
        Step(part.name, bought.at_years, bought.packs, bought.amount)
        for part in unit.consumables or ()
        for bought in purchases(part, hours, years)
    ]
    return tuple(sorted(found, key=lambda step: (step.at_years, step.name)))


def _energy_cost_per_year(unit: OwnedUnit, assumptions: CostAssumptions) -> float:
    return energy_of(unit, assumptions).energy_kwh_per_year * assumptions.price_per_kwh


def _by_year(
    unit: OwnedUnit, assumptions: CostAssumptions, steps: tuple[Step, ...], years: int, uncertainty_per_year: float
) -> list[SpentByCause]:
    energy_per_year = _energy_cost_per_year(unit, assumptions)
    by_name = {part.name: 0.0 for part in unit.consumables or ()}
    spent = []
    due = 0  # the steps are in order of time, so each is added once
    for year in range(years + 1):
        while due < len(steps) and (steps[due].at_years == 0 or steps[due].at_years < year - _SAME_DAY):
            by_name[steps[due].name] += _todays_value(steps[due], assumptions)
            due += 1
        energy = present_value_of_steady_cost(energy_per_year, assumptions.discount_rate, float(year))
        # the uncertainty of a steady cost grows in proportion to time, as the cost does
        uncertainty = present_value_of_steady_cost(uncertainty_per_year, assumptions.discount_rate, float(year))
        spent.append(SpentByCause(float(year), unit.purchase_price or 0.0, energy, tuple(by_name.items()), uncertainty))
    return spent


def _path(unit: OwnedUnit, assumptions: CostAssumptions, years: int) -> tuple[PathPoint, ...]:
    energy_per_year = _energy_cost_per_year(unit, assumptions)
    steps_by_day: dict[float, float] = {}
    for step in _steps(unit, assumptions, years):
        steps_by_day[step.at_years] = steps_by_day.get(step.at_years, 0.0) + _todays_value(step, assumptions)
    bought = (unit.purchase_price or 0.0) + steps_by_day.pop(0.0, 0.0)
    points = []
    even_times = {index / _POINTS_PER_YEAR for index in range(years * _POINTS_PER_YEAR + 1)}
    for at_years in sorted(even_times | {*steps_by_day}):
        energy = present_value_of_steady_cost(energy_per_year, assumptions.discount_rate, at_years)
        points.append(PathPoint(at_years, bought + energy))
        if at_years in steps_by_day:
            bought += steps_by_day[at_years]
            points.append(PathPoint(at_years, bought + energy))
    return tuple(points)


def _todays_value(step: Step, assumptions: CostAssumptions) -> float:
    return float(step.amount * (1 + assumptions.discount_rate) ** -step.at_years)


def _shifted(unit: OwnedUnit, power_uncertainties: float, life_factor: float) -> OwnedUnit:
    """The unit with every power shifted by some standard uncertainties and every life scaled by a factor."""

    def stretched(part: ConsumablePart) -> ConsumablePart:
        return replace(
            part,
            life_months=None if part.life_months is None else part.life_months * life_factor,
            life_running_hours=None if part.life_running_hours is None else part.life_running_hours * life_factor,
        )

    def moved(power_w: float | None, uncertainty_w: float) -> float | None:
        return None if power_w is None else max(0.0, power_w + power_uncertainties * uncertainty_w)

    return replace(
        unit,
        parts=tuple(replace(part, power_w=moved(part.power_w, part.power_uncertainty_w)) for part in unit.parts),
        standby_power_w=moved(unit.standby_power_w, unit.standby_power_uncertainty_w),
        consumables=None if unit.consumables is None else tuple(stretched(part) for part in unit.consumables),
    )
