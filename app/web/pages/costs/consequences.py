"""Results derived from costs: cost of clean air, break-even, sensitivity, tariffs."""

from collections.abc import Sequence
from dataclasses import dataclass

from app.compute.cost_and_energy.cost_sensitivity import Moved
from app.compute.wording.numbers import measured_text
from app.compute.wording.rounding import rounded_text
from app.figures.charts.cost_sensitivity import compared_names, moved_text, sensitivity_text
from app.services.costs.choices import AvailableTariff
from app.services.costs.cost_of_owning import CleanAirCost, CostOfOwning, with_consequences
from app.services.costs.running_cost import RunningCostView, UnitCost
from app.web.pages.cells import Cell
from app.web.templating.page_context import Choice


@dataclass(frozen=True, slots=True)
class SensitivityLine:
    """One assumption: its two values, the cheapest unit at either, and whether the order changes."""

    words: str
    cheapest_at_low: str
    cheapest_at_high: str
    changes: str


@dataclass(frozen=True, slots=True)
class Consequences:
    """Context of the lower half of the cost page.

    clean_air : cell by unit id, for the units shown
    first, second : choices of the two units to compare
    """

    clean_air: dict[int, Cell]
    first: tuple[Choice, ...]
    second: tuple[Choice, ...]
    pair_words: str
    missing: tuple[str, ...]
    sensitivity: tuple[SensitivityLine, ...]
    sensitivity_text: str
    tariffs: tuple[AvailableTariff, ...]


def consequences(view: RunningCostView, shown: Sequence[UnitCost]) -> Consequences:
    """Raises InvalidValue, naming the field, if the two requested units cannot be compared."""
    found = with_consequences(view, shown)
    names = sorted(((cost.name, cost.unit.row.unit_id) for cost in view.drawn), key=lambda pair: pair[0].casefold())
    chosen = found.compared or (0, 0)
    lower_bounds = frozenset(cost.name for cost in view.drawn if cost.over_years.at_least)
    return Consequences(
        clean_air={unit_id: _clean_air_cell(cost) for unit_id, cost in found.clean_air.items()},
        first=tuple(Choice(str(unit_id), name, unit_id == chosen[0]) for name, unit_id in names),
        second=tuple(Choice(str(unit_id), name, unit_id == chosen[1]) for name, unit_id in names),
        pair_words=_pair_text(found),
        missing=found.pair.missing if found.pair else (),
        sensitivity=tuple(
            SensitivityLine(
                moved_text(entry),
                _cheapest(entry.low, lower_bounds),
                _cheapest(entry.high, lower_bounds),
                "; ".join(f"{one} and {other}" for one, other in entry.changed_places) or "none",
            )
            for entry in found.sensitivity
        ),
        sensitivity_text=sensitivity_text(found),
        tariffs=view.terms.tariffs,
    )


def _clean_air_cell(cost: CleanAirCost) -> Cell:
    if cost.per_1000_m3 is None:
        return Cell("missing", reason=cost.why_not)
    found = cost.per_1000_m3
    words = measured_text(found.value, found.uncertainty, max(0.0, found.low_95), found.high_95)
    if found.uncertainty == 0:
        return Cell("value", rounded_text(found.value, 3))
    return Cell("value", words.value, words.interval)


def _pair_text(found: CostOfOwning) -> str:
    if found.pair is None:
        return "Select two units to see the payback time."
    first, second = compared_names(found)
    return f"{first} and {second}: {found.pair.sentence}"


def _cheapest(moved: Moved, lower_bounds: frozenset[str]) -> str:
    """The cheapest of the complete costs; without any, the lowest of the lower bounds, marked as one."""
    whole = [name for name in moved.order if name not in lower_bounds]
    return whole[0] if whole else f"{moved.order[0]} (at least)" if moved.order else ""
