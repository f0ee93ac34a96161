"""What units cost over the years: energy, each consumable, purchase; what a thousand cubic metres of clean air cost;
when the dearer of two is paid back; and which assumptions change the order."""

from dataclasses import dataclass

from sqlalchemy.orm import Session

from app.compute.break_even import BreakEven, break_even
from app.compute.cost import RunningCost, running_cost
from app.compute.cost_of_clean_air import cost_per_1000_m3_of_clean_air
from app.compute.cost_over_years import CostOverYears, cost_over_years
from app.compute.cost_sensitivity import Sensitivity, one_at_a_time
from app.compute.measured import Measured
from app.errors import InvalidValue, NotFound
from app.services.owned_units import OwnedUnits, UnitAtSetting, UnitLeftOut, read_owned_units
from app.services.owning_choices import OwningChoices, OwningTerms, owning_terms

SHOWN_BY_DEFAULT = 6


@dataclass(frozen=True, slots=True)
class OwningLine:
    """One unit: a year of running, the years chosen, and clean air's price, or why there is none."""

    unit: UnitAtSetting
    running: RunningCost
    over_years: CostOverYears
    per_1000_m3: Measured | None
    why_no_clean_air_cost: str


@dataclass(frozen=True, slots=True)
class CostOfOwning:
    """Costs of the chosen units, the cheapest over the years first.

    others : units of the bench that were not chosen
    pair : break-even of the two units compared, None with fewer than two
    sensitivity : one assumption moved at a time; empty with fewer than two units
    """

    terms: OwningTerms
    lines: tuple[OwningLine, ...]
    others: tuple[UnitAtSetting, ...]
    left_out: tuple[UnitLeftOut, ...]
    pair: BreakEven | None
    compared: tuple[int, int] | None
    sensitivity: tuple[Sensitivity, ...]


def cost_of_owning(session: Session, choices: OwningChoices | None = None) -> CostOfOwning:
    """Cost of owning the chosen units.

    Raises InvalidValue or NotFound for choices that cannot be (see `owning_terms`), and for units that are not on
    the bench.
    """
    terms = owning_terms(session, choices or OwningChoices())
    bench = read_owned_units(session, terms)
    chosen = _chosen(bench, terms)
    lines = sorted(
        (_line(unit, terms) for unit in chosen), key=lambda line: (line.over_years.total, line.over_years.name)
    )
    compared = _compared(lines, terms.choices.compare)
    by_id = {line.unit.row.unit_id: line for line in lines}
    pair = break_even(by_id[compared[0]].over_years, by_id[compared[1]].over_years) if compared else None
    shown = {unit.row.unit_id for unit in chosen}
    return CostOfOwning(
        terms=terms,
        lines=tuple(lines),
        others=tuple(unit for unit in bench.units if unit.row.unit_id not in shown),
        left_out=bench.left_out,
        pair=pair,
        compared=compared,
        sensitivity=one_at_a_time(tuple(unit.owned for unit in chosen), terms.assumptions, terms.choices.years)
        if len(chosen) > 1
        else (),
    )


def _chosen(bench: OwnedUnits, terms: OwningTerms) -> tuple[UnitAtSetting, ...]:
    if not terms.choices.unit_ids:
        return bench.units[:SHOWN_BY_DEFAULT]
    by_id = {unit.row.unit_id: unit for unit in bench.units}
    known = by_id.keys() | {unit.unit_id for unit in bench.left_out}
    for unit_id in terms.choices.unit_ids:
        if unit_id not in known:
            raise NotFound("unit under test", unit_id)
    return tuple(by_id[unit_id] for unit_id in dict.fromkeys(terms.choices.unit_ids) if unit_id in by_id)


def _compared(lines: list[OwningLine], asked: tuple[int, ...]) -> tuple[int, int] | None:
    """The two units asked for, or the two cheapest."""
    ids = [line.unit.row.unit_id for line in lines]
    if asked:
        if len(set(asked)) != 2:
            raise InvalidValue(
                f"{len(set(asked))} units were chosen for the break-even; two are needed. Choose two.", field="compare"
            )
        missing = [unit_id for unit_id in asked if unit_id not in ids]
        if missing:
            raise InvalidValue(
                f"Unit {missing[0]} is not among the units shown, so it cannot be compared. Choose it as well.",
                field="compare",
            )
        return asked[0], asked[1]
    return (ids[0], ids[1]) if len(ids) > 1 else None


def _line(unit: UnitAtSetting, terms: OwningTerms) -> OwningLine:
    running = running_cost(unit.owned, terms.assumptions)
    over_years = cost_over_years(unit.owned, terms.assumptions, terms.choices.years)
    if unit.rate is None:
        return OwningLine(unit, running, over_years, None, "No clean air rate that can be told from zero is known.")
    try:
        return OwningLine(unit, running, over_years, cost_per_1000_m3_of_clean_air(running, unit.rate), "")
    except ValueError as error:
        return OwningLine(unit, running, over_years, None, str(error))
