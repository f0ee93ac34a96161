"""The running cost as a table for download."""

from app.compute.wording.numbers import amount_text
from app.figures.tables.quantity_cells import text_cell
from app.figures.tables.table import AT_LEAST, ExportCell, ExportColumn, ExportTable, plain_cell
from app.services.bench.chart_facts import ChartFacts
from app.services.costs.running_cost import RunningCostView, UnitCost


def running_cost_table(view: RunningCostView, facts: ChartFacts) -> ExportTable:
    currency, years = view.terms.assumptions.currency, view.terms.choices.years
    key = currency.lower()
    return ExportTable(
        name="running-cost",
        caption="Running cost per year and cost of ownership",
        columns=(
            ExportColumn("unit", "Unit", is_number=False),
            ExportColumn("setting", "Setting", is_number=False),
            ExportColumn(f"energy_{key}_per_year", "Energy", f"{currency}/year", with_interval=True),
            ExportColumn(
                f"filters_and_parts_{key}_per_year", "Filters and parts", f"{currency}/year", with_interval=True
            ),
            ExportColumn(f"running_cost_{key}_per_year", "Running cost", f"{currency}/year", with_interval=True),
            ExportColumn(f"price_{key}", "Price", currency),
            ExportColumn(f"cost_over_{years}_years_{key}", f"Cost over {years} years", currency, with_interval=True),
        ),
        rows=tuple(_row(cost) for cost in view.costs),
        conditions=f"{assumptions_text(view)[:1].upper()}{assumptions_text(view)[1:]}.",
        source_line=facts.source_line(f"Electricity: {view.terms.tariff_words}"),
    )


def _row(cost: UnitCost) -> tuple[ExportCell, ...]:
    year, years = cost.per_year, cost.over_years
    return (
        text_cell(cost.name),
        text_cell(cost.unit.row.setting or ""),
        _of_known(year.energy_cost_per_year, year.energy.missing, year.energy_interval_95),
        _of_known(year.consumables_cost_per_year, year.consumables_missing, year.consumables_interval_95),
        _of_known(year.total_per_year, year.missing, year.interval_95),
        plain_cell(cost.unit.owned.purchase_price, 0, why=cost.unit.owned.price_missing_because),
        _of_known(years.total, years.missing, years.interval_95),
    )


def _of_known(amount: float, missing: tuple[str, ...], interval: tuple[float, float]) -> ExportCell:
    """An amount; "at least" if part is missing, and no number if nothing is known."""
    if missing and amount == 0:
        return ExportCell(why=" ".join(missing))
    if not missing and interval[1] > interval[0]:
        words = amount_text(amount, interval)
        return ExportCell(words.value, words.low, words.high)
    return ExportCell(amount_text(amount).value, bound=AT_LEAST if missing else "", why=" ".join(missing))


def assumptions_text(view: RunningCostView) -> str:
    """The assumptions in one line."""
    terms = view.terms
    return (
        f"{terms.assumptions.price_per_kwh:g} {terms.assumptions.currency} per kWh, {terms.hours_per_day:g} h per "
        f"day, {terms.assumptions.days_per_year:g} days per year, {terms.choices.setting} setting; without purchase"
    )
