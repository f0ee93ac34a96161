"""Yearly running cost and cost over years of every unit, filtered and sorted."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field, replace

from app.compute.cost_and_energy.cost_over_years import CostOverYears, cost_over_years
from app.compute.cost_and_energy.running_cost import RunningCost, running_cost
from app.errors import InvalidValue
from app.services.costs.choices import MOST_UNITS, OwningChoices, OwningTerms, owning_terms
from app.services.costs.owned_units import OwningConditions, UnitAtSetting, UnitLeftOut, owned_units, owning_conditions
from app.services.snapshot.bench_snapshot import BenchSnapshot
from app.services.snapshot.evenly_spread import spread_over

COST_SORTS = ("cost_per_year", "energy", "consumables", "price", "cost_over_years", "name")
_DRAWN_BY_DEFAULT = 6


@dataclass(frozen=True, slots=True, kw_only=True)
class CostChoices:
    """The reader's assumptions, the choice of units, and the order.

    owning : tariff, hours, days, setting, years; its `unit_ids` say which units are drawn over the years
    """

    owning: OwningChoices = field(default_factory=OwningChoices)
    kind: str = ""
    search: str = ""
    sort: str = COST_SORTS[0]
    descending: bool = False


@dataclass(frozen=True, slots=True)
class UnitCost:
    """Cost of one unit at the chosen setting; each cost lists what is missing."""

    unit: UnitAtSetting
    per_year: RunningCost
    over_years: CostOverYears

    @property
    def name(self) -> str:
        return self.unit.name


@dataclass(frozen=True, slots=True)
class RunningCostView:
    """All units that pass the filters, in order: complete costs before lower bounds.

    drawn : the units shown over the years, at most eight; only these have their curve
    left_out : units without a suitable setting, with the reason
    """

    costs: tuple[UnitCost, ...]
    drawn: tuple[UnitCost, ...]
    choices: CostChoices
    terms: OwningTerms
    units_on_bench: int
    removed: tuple[str, ...]
    left_out: tuple[UnitLeftOut, ...]
    kinds: tuple[str, ...]


def running_cost_view(snapshot: BenchSnapshot, choices: CostChoices | None = None) -> RunningCostView:
    """Costs of the units of the bench.

    Raises InvalidValue, naming the field, for an invalid assumption, and without an electricity price; NotFound for an
    unknown tariff.
    """
    chosen = choices or CostChoices()
    if chosen.sort not in COST_SORTS:
        raise InvalidValue(
            f"The column to sort by is {chosen.sort!r}; choose one of: {', '.join(COST_SORTS)}.", field="sort"
        )
    # read again each time: a tariff that is still to come depends on the day
    return snapshot.view(_view, (chosen, owning_terms(snapshot.session, chosen.owning)))


def _view(snapshot: BenchSnapshot, asked: tuple[CostChoices, OwningTerms]) -> RunningCostView:
    chosen, terms = asked
    found = _costs_of_all(snapshot, terms)
    all_costs = [cost for cost in found if isinstance(cost, UnitCost)]
    left_out = tuple(unit for unit in found if isinstance(unit, UnitLeftOut))
    passing, removed = _filtered(all_costs, chosen)
    costs = sorted(passing, key=lambda cost: _order(cost, chosen))
    return RunningCostView(
        costs=tuple(costs),
        drawn=tuple(_with_curve(cost, terms) for cost in _drawn(costs, chosen)),
        choices=replace(chosen, owning=terms.choices),
        terms=terms,
        units_on_bench=len(found),
        removed=removed,
        left_out=left_out,
        kinds=tuple(sorted({cost.unit.row.kind for cost in all_costs})),
    )


def _costs_of_all(snapshot: BenchSnapshot, terms: OwningTerms) -> list[UnitCost | UnitLeftOut]:
    """Both costs of every unit, without the curve."""
    # the choice of drawn or compared units does not affect costs
    choices = replace(terms.choices, unit_ids=(), compare=(), tariff_id=None)
    same_for_all = replace(terms, choices=choices, tariffs=(), tariff_words="")
    return list(snapshot.by_unit(_costs_of_units, owning_conditions(snapshot, same_for_all)).values())


def _costs_of_units(
    snapshot: BenchSnapshot, asked: OwningConditions, unit_ids: Collection[int] | None
) -> Mapping[int, UnitCost | UnitLeftOut]:
    return {
        unit_id: unit if isinstance(unit, UnitLeftOut) else _cost(unit, asked.terms)
        for unit_id, unit in owned_units(snapshot, asked, unit_ids).items()
    }


def _cost(unit: UnitAtSetting, terms: OwningTerms) -> UnitCost:
    owned, assumptions, years = unit.owned, terms.assumptions, terms.choices.years
    over_years = cost_over_years(owned, assumptions, years, with_curve=False)
    return UnitCost(unit, running_cost(owned, assumptions), over_years)


def _filtered(costs: list[UnitCost], chosen: CostChoices) -> tuple[list[UnitCost], tuple[str, ...]]:
    words = chosen.search.casefold().split()
    found = [cost for cost in costs if all(word in f"{cost.name} {cost.unit.row.kind}".casefold() for word in words)]
    passing = [cost for cost in found if not chosen.kind or cost.unit.row.kind == chosen.kind]
    removed = []
    if len(found) < len(costs):
        removed.append(f"{len(costs) - len(found)} not matching “{chosen.search.strip()}”")
    if len(passing) < len(found):
        removed.append(f"{len(found) - len(passing)} not of type {chosen.kind}")
    return passing, tuple(removed)


def _drawn(costs: list[UnitCost], chosen: CostChoices) -> tuple[UnitCost, ...]:
    wanted = chosen.owning.unit_ids
    if wanted:
        return tuple(cost for cost in costs if cost.unit.row.unit_id in wanted)[:MOST_UNITS]
    by_total = sorted(costs, key=lambda cost: (cost.over_years.at_least, cost.over_years.total))
    return tuple(spread_over(by_total, _DRAWN_BY_DEFAULT))


def _with_curve(cost: UnitCost, terms: OwningTerms) -> UnitCost:
    """Adds the curve over the years, computed only for the units drawn."""
    return replace(cost, over_years=cost_over_years(cost.unit.owned, terms.assumptions, terms.choices.years))


def _order(cost: UnitCost, chosen: CostChoices) -> tuple[int, float, str]:
    """Complete costs, then lower bounds, then missing ones, in both directions; then by value and name."""
    name = cost.name.casefold()
    if chosen.sort == "name":
        return 0, 0.0, name
    if chosen.sort == "price":
        price = cost.unit.owned.purchase_price
        group, value = (2, 0.0) if price is None else (0, price)
    elif chosen.sort == "cost_over_years":
        group, value = int(cost.over_years.at_least), cost.over_years.total
    else:
        group = int(cost.per_year.at_least)
        value = {
            "cost_per_year": cost.per_year.total_per_year,
            "energy": cost.per_year.energy_cost_per_year,
            "consumables": cost.per_year.consumables_cost_per_year,
        }[chosen.sort]
    return group, -value if chosen.descending else value, name
