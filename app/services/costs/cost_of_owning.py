"""Results beyond the costs: cost of clean air, break-even of two units, and sensitivity to the assumptions."""

from collections.abc import Sequence
from dataclasses import dataclass

from app.compute.cost_and_energy.break_even import BreakEven, break_even
from app.compute.cost_and_energy.cost_of_clean_air import cost_per_1000_m3_of_clean_air
from app.compute.cost_and_energy.cost_sensitivity import Sensitivity, one_at_a_time
from app.compute.statistics.measured import Measured
from app.errors import InvalidValue
from app.services.costs.running_cost import CostChoices, RunningCostView, UnitCost, running_cost_view
from app.services.snapshot.bench_snapshot import BenchSnapshot


@dataclass(frozen=True, slots=True)
class CleanAirCost:
    """Cost of 1,000 m³ of clean air of one unit, or a sentence why there is none."""

    per_1000_m3: Measured | None
    why_not: str


@dataclass(frozen=True, slots=True)
class CostOfOwning:
    """The costs and the results derived from them.

    clean_air : by unit id, for every unit that passes the filters, or for the requested ones
    compared : ids of the two units of the break-even, the requested ones if both are drawn; None with fewer than two
    pair : their break-even
    sensitivity : of the units drawn, one assumption varied at a time; empty with fewer than two
    """

    view: RunningCostView
    clean_air: dict[int, CleanAirCost]
    compared: tuple[int, int] | None
    pair: BreakEven | None
    sensitivity: tuple[Sensitivity, ...]


def cost_of_owning(snapshot: BenchSnapshot, choices: CostChoices | None = None) -> CostOfOwning:
    """Costs of all units, with break-even and sensitivity of those drawn.

    Raises InvalidValue or NotFound as `running_cost_view` does, and for units that cannot be compared.
    """
    return with_consequences(running_cost_view(snapshot, choices))


def with_consequences(view: RunningCostView, shown: Sequence[UnitCost] | None = None) -> CostOfOwning:
    """Adds these results to computed costs; `shown`: only these units get a clean air cost."""
    drawn = view.drawn
    compared = _compared(drawn, view.choices.owning.compare)
    by_id = {cost.unit.row.unit_id: cost.over_years for cost in drawn}
    return CostOfOwning(
        view=view,
        clean_air={cost.unit.row.unit_id: clean_air_cost(cost) for cost in (view.costs if shown is None else shown)},
        compared=compared,
        pair=break_even(by_id[compared[0]], by_id[compared[1]]) if compared else None,
        sensitivity=one_at_a_time(
            tuple(cost.unit.owned for cost in drawn), view.terms.assumptions, view.terms.choices.years
        )
        if len(drawn) > 1
        else (),
    )


def clean_air_cost(cost: UnitCost) -> CleanAirCost:
    """Running cost over the clean air delivered in the same hours, without the purchase."""
    if cost.unit.mean_rate is None:
        return CleanAirCost(None, "No clean air rate that can be distinguished from zero at this setting.")
    try:
        return CleanAirCost(cost_per_1000_m3_of_clean_air(cost.per_year, cost.unit.mean_rate), "")
    except ValueError as error:
        return CleanAirCost(None, str(error))


def _compared(drawn: tuple[UnitCost, ...], asked: tuple[int, ...]) -> tuple[int, int] | None:
    """The two requested units if both are drawn; else the cheapest to buy against the cheapest to run.

    Units with only a lower bound come last, because their break-even is not known.
    """
    ids = [cost.unit.row.unit_id for cost in drawn]
    if asked:
        if len(set(asked)) != 2:
            raise InvalidValue(
                f"{len(set(asked))} units were selected for the break-even. Select two.", field="compare"
            )
        if all(unit_id in ids for unit_id in asked):
            return asked[0], asked[1]
    if len(drawn) < 2:
        return None
    to_run = min(drawn, key=lambda cost: (cost.per_year.at_least, cost.per_year.total_per_year))
    others = [cost for cost in drawn if cost is not to_run]
    to_buy = min(others, key=lambda cost: (cost.over_years.at_least, _price(cost)))
    return to_buy.unit.row.unit_id, to_run.unit.row.unit_id


def _price(cost: UnitCost) -> float:
    price = cost.unit.owned.purchase_price
    return float("inf") if price is None else price
