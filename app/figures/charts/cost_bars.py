"""Chart of cost per year, stacked by cause, with an open mark where something is missing."""

from app.compute.wording.numbers import amount_text, counted, money
from app.figures.chart import Axis, Chart, Series
from app.figures.charts.house_style import house_style
from app.figures.tables.running_cost import assumptions_text
from app.services.bench.chart_facts import ChartFacts
from app.services.costs.running_cost import RunningCostView, UnitCost

MOST_BARS = 40


def cost_bars_chart(view: RunningCostView, facts: ChartFacts) -> Chart:
    """Energy and consumables of a year, without the purchase; "at least" where a price or power is missing."""
    costs = view.costs[:MOST_BARS]
    names = tuple(cost.name for cost in costs)  # maker and model are unique on a bench
    currency = view.terms.assumptions.currency
    energy = tuple(cost.per_year.energy_cost_per_year for cost in costs)
    parts = tuple(cost.per_year.consumables_cost_per_year for cost in costs)
    bounds = [(name, cost) for name, cost in zip(names, costs, strict=True) if cost.per_year.at_least]
    series = [
        Series("energy", "bar", energy, names, hover=_hover(names, energy, "energy", currency), colour=0),
        Series(
            "filters and other consumables",
            "bar",
            parts,
            names,
            hover=_hover(names, parts, "filters and other consumables", currency),
            colour=4,
        ),
    ]
    if bounds:
        series.append(
            Series(
                "at least: data missing",
                "interval",
                tuple(cost.per_year.total_per_year for _, cost in bounds),
                tuple(name for name, _ in bounds),
                censored=(True,) * len(bounds),
                hover=tuple(f"{name}: at least. {' '.join(cost.per_year.missing)}" for name, cost in bounds),
                colour=None,
                in_legend=True,
            )
        )
    return Chart(
        name="cost-bars",
        title=_title(view),
        subtitle=assumptions_text(view),
        x_axis=Axis("Running cost per year", currency, low=0.0),
        y_axis=Axis("", names=names),
        series=tuple(series),
        alt_text=cost_text(view),
        source_line=facts.source_line(f"Electricity: {view.terms.tariff_words}"),
        horizontal=True,
        x_column=f"{currency.lower()}_per_year",
        y_column="unit",
        house=house_style(facts),
    )


def cost_text(view: RunningCostView) -> str:
    """Cheapest and most expensive of the complete costs, and the number of lower bounds."""
    currency = view.terms.assumptions.currency
    whole = _whole(view)
    sentences = []
    if whole:
        first, last = whole[0], whole[-1]
        text = f"{first.name} costs least to run, {_total(first)}\u00a0{currency} per year"
        if last is not first:
            text += f"; {last.name} most, {_total(last)}\u00a0{currency}"
        sentences.append(text + ".")
    bounds = len(view.costs) - len(whole)
    if bounds:
        sentences.append(f"For {counted(bounds, 'unit')}, a price or power is missing, so the cost is a lower bound.")
    return " ".join(sentences) or "No units to show."


def _title(view: RunningCostView) -> str:
    """The unit that costs least to run, where its interval ends below the next one's; else the range."""
    currency = view.terms.assumptions.currency
    whole = _whole(view)
    if not whole:
        return "Running cost per year: no unit has complete data"
    first, *others = whole
    if not others:
        return f"{first.name} costs {_total(first)}\u00a0{currency} per year to run"
    second, last = others[0], others[-1]
    if first.per_year.interval_95[1] < second.per_year.interval_95[0]:
        ends = f"{_total(first)}\u00a0{currency} per year; {last.name} costs {_total(last)}\u00a0{currency}"
        return f"{first.name} costs least to run, {ends}"
    return f"Running costs from {_total(first)} to {_total(last)}\u00a0{currency} per year"


def _whole(view: RunningCostView) -> list[UnitCost]:
    """Complete costs, the lowest first."""
    complete = (cost for cost in view.costs if not cost.per_year.at_least)
    return sorted(complete, key=lambda cost: cost.per_year.total_per_year)


def _total(cost: UnitCost) -> str:
    return amount_text(cost.per_year.total_per_year, cost.per_year.interval_95).value


def _hover(names: tuple[str, ...], amounts: tuple[float, ...], cause: str, currency: str) -> tuple[str, ...]:
    return tuple(
        f"{name}, {cause}: {money(amount, currency)} a year" for name, amount in zip(names, amounts, strict=True)
    )
