"""Yearly running cost and cost over years of each unit, with the inputs of the page."""

import math
from collections.abc import Sequence
from typing import Annotated, Any, Literal

from fastapi import Query
from pydantic import BaseModel, ConfigDict, FiniteFloat, model_validator

from app.compute.clean_air.conversions import M2_PER_SQUARE_FOOT
from app.compute.clean_air.room_need import RULE_CEILING_M
from app.errors import InvalidValue
from app.services.costs.choices import DEFAULT_YEARS, OwningChoices
from app.services.costs.running_cost import CostChoices, UnitCost, running_cost_view
from app.web.api.shapes import IdOrNone, MeasuredShape, OfBench, of_bench, problem_answers
from app.web.api.trials.shapes import Named
from app.web.dependencies import SessionDep, SnapshotDep
from app.web.routers import api_router

router = api_router("running cost")


class RunningCostQuery(BaseModel):
    """Query of the costs page; empty fields are ignored.

    tariff_id, or price_per_kwh with currency : the price of electricity; default: the bench's tariff
    discount_rate_pct : [% per year]
    """

    model_config = ConfigDict(extra="forbid")

    setting: Literal["highest", "quietest", "quietest that serves the room"] = "highest"
    room_area_m2: FiniteFloat | None = None
    room_area_ft2: FiniteFloat | None = None
    room_height_m: FiniteFloat = RULE_CEILING_M
    tariff_id: IdOrNone = None
    price_per_kwh: FiniteFloat | None = None
    currency: str = ""
    hours_per_day: FiniteFloat | None = None
    days_per_year: FiniteFloat | None = None
    years: int = DEFAULT_YEARS
    discount_rate_pct: FiniteFloat = 0.0
    unplugged_when_off: bool = False
    kind: str = ""
    search: str = ""
    sort: Literal["cost_per_year", "energy", "consumables", "price", "cost_over_years", "name"] = "cost_per_year"
    descending: bool = False
    units: Literal["metric", "us"] = "metric"
    limit: int = 100
    cursor: str | None = None

    @model_validator(mode="before")
    @classmethod
    def _without_empty_fields(cls, data: Any) -> Any:
        return {name: value for name, value in data.items() if value != ""} if isinstance(data, dict) else data


class ConsumableCostShape(BaseModel):
    """Yearly cost of one consumable; null if unknown, and `missing` says why. The interval comes from its stated life
    in months or hours; prices count as exact.
    """

    name: str
    cost_per_year: MeasuredShape | None
    replaced_every_years: MeasuredShape | None
    washable: bool
    missing: str


class UnitCostShape(BaseModel):
    """Cost of one unit at the chosen setting. `at_least`: something is missing, and `missing` says what. An unknown
    amount is null, never 0; a partly known one is a lower bound, marked by its `at_least`.
    """

    unit_id: int
    maker: str
    model: str
    kind: str
    setting: Named | None
    running_hours_per_year: float
    energy_kwh_per_year: MeasuredShape | None
    energy_cost_per_year: MeasuredShape | None
    energy_at_least: bool
    consumables: list[ConsumableCostShape]
    needs_no_consumables: bool
    cost_per_year: MeasuredShape | None
    at_least: bool
    missing: list[str]
    purchase_price: float | None
    cost_over_years: list[MeasuredShape | None]
    cost_over_years_at_least: bool
    cost_over_years_missing: list[str]


class LeftOutShape(BaseModel):
    unit_id: int
    name: str
    why: str


class RunningCostShape(OfBench):
    """`cost_over_years` of each unit is the cumulative cost at the end of year 0, 1, 2 …; year 0 is the purchase.

    Money is in `currency`; prices, hours, days and the discount rate are the reader's choices and have no uncertainty.
    """

    currency: str
    price_per_kwh: float
    tariff: str
    hours_per_day: float
    days_per_year: float
    years: int
    discount_rate_pct: float
    setting: str
    units_on_bench: int
    removed: list[str]
    left_out: list[LeftOutShape]
    costs: list[UnitCostShape]
    next_cursor: str | None


@router.get("/running-cost", responses=problem_answers(404))
def running_cost(
    session: SessionDep, snapshot: SnapshotDep, query: Annotated[RunningCostQuery, Query()]
) -> RunningCostShape:
    """Units sorted by the chosen column: complete costs before lower bounds."""
    if not 1 <= query.limit <= 500:
        raise InvalidValue(f"The limit is {query.limit}; enter a whole number from 1 to 500.", field="limit")
    first = _place(query.cursor)
    view = running_cost_view(snapshot, _choices(query))
    part = view.costs[first : first + query.limit]
    terms = view.terms
    return RunningCostShape(
        currency=terms.assumptions.currency,
        price_per_kwh=terms.assumptions.price_per_kwh,
        tariff=terms.tariff_words,
        hours_per_day=terms.hours_per_day,
        days_per_year=terms.assumptions.days_per_year,
        years=terms.choices.years,
        discount_rate_pct=terms.choices.discount_rate_pct,
        setting=terms.choices.setting,
        units_on_bench=view.units_on_bench,
        removed=list(view.removed),
        left_out=[LeftOutShape(unit_id=out.unit_id, name=out.name, why=out.why) for out in view.left_out],
        costs=[_unit_cost(cost, terms.assumptions.filter_life_relative_uncertainty) for cost in part],
        next_cursor=str(first + len(part)) if first + len(part) < len(view.costs) else None,
        **of_bench(session),
    )


def _choices(query: RunningCostQuery) -> CostChoices:
    owning = query.model_dump(
        exclude={"room_area_ft2", "units", "kind", "search", "sort", "descending", "limit", "cursor"}
    )
    if query.room_area_m2 is None and query.room_area_ft2 is not None:
        owning["room_area_m2"] = query.room_area_ft2 * M2_PER_SQUARE_FOOT
    return CostChoices(
        owning=OwningChoices(**owning),
        kind=query.kind,
        search=query.search,
        sort=query.sort,
        descending=query.descending,
    )


def _place(cursor: str | None) -> int:
    if cursor is None:
        return 0
    if not cursor.isdecimal() or len(cursor) > 9:
        raise InvalidValue(
            f"The cursor is {cursor[:40]!r}; use the next_cursor of an earlier response.", field="cursor"
        )
    return int(cursor)


def _life(years: float, relative_uncertainty: float) -> MeasuredShape | None:
    """Null for a washable part, and for an unknown life."""
    return MeasuredShape.normal(years, relative_uncertainty * years) if math.isfinite(years) else None


def _known(amount: MeasuredShape, missing: Sequence[str]) -> MeasuredShape | None:
    """Null if something is missing and nothing was counted, because 0 would read as free."""
    return None if missing and amount.value == 0 else amount


def _unit_cost(cost: UnitCost, of_life: float) -> UnitCostShape:
    row, year, years = cost.unit.row, cost.per_year, cost.over_years
    energy, low_high = year.energy, year.interval_95
    return UnitCostShape(
        unit_id=row.unit_id,
        maker=row.maker,
        model=row.model,
        kind=row.kind,
        setting=Named(id=row.setting_id, name=row.setting) if row.setting_id is not None and row.setting else None,
        running_hours_per_year=energy.running_hours_per_year,
        energy_kwh_per_year=_known(
            MeasuredShape.normal(energy.energy_kwh_per_year, energy.uncertainty_kwh_per_year), energy.missing
        ),
        energy_cost_per_year=_known(
            MeasuredShape.normal(year.energy_cost_per_year, year.energy_uncertainty_per_year), energy.missing
        ),
        energy_at_least=energy.at_least,
        consumables=[
            ConsumableCostShape(
                name=part.name,
                cost_per_year=None
                if part.missing
                else MeasuredShape.normal(part.cost_per_year, part.uncertainty_per_year),
                replaced_every_years=_life(part.replaced_every_years, of_life),
                washable=part.washable,
                missing=part.missing,
            )
            for part in year.consumables
        ],
        needs_no_consumables=year.needs_no_consumables,
        cost_per_year=_known(
            MeasuredShape(
                value=year.total_per_year,
                uncertainty=year.uncertainty_per_year,
                low_95=low_high[0],
                high_95=low_high[1],
            ),
            year.missing,
        ),
        at_least=year.at_least,
        missing=list(year.missing),
        purchase_price=cost.unit.owned.purchase_price,
        cost_over_years=[
            _known(
                MeasuredShape(
                    value=spent.total,
                    uncertainty=spent.uncertainty,
                    low_95=spent.interval_95[0],
                    high_95=spent.interval_95[1],
                ),
                years.missing,
            )
            for spent in years.by_year
        ],
        cost_over_years_at_least=years.at_least,
        cost_over_years_missing=list(years.missing),
    )
