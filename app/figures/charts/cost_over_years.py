"""Chart of cumulative cost per unit: energy as a slope, a step at each replacement."""

from app.compute.cost_and_energy.cost_over_years import PathPoint
from app.compute.wording.numbers import amount_text, money
from app.figures.chart import Axis, Chart, Series
from app.figures.charts.house_style import house_style
from app.figures.palette import cues
from app.services.bench.chart_facts import ChartFacts
from app.services.costs.running_cost import RunningCostView, UnitCost

_MOST_BANDS = 2  # more would hide one another


def cost_over_years_chart(view: RunningCostView, facts: ChartFacts) -> Chart:
    """Cumulative cost including the purchase. A unit with missing prices ends in an open mark ("at least")."""
    currency, years = view.terms.assumptions.currency, view.terms.choices.years
    series: list[Series] = []
    for cost, (colour, dash) in zip(view.drawn, cues(len(view.drawn)), strict=True):
        path = cost.over_years.path
        if len(view.drawn) <= _MOST_BANDS:
            series.append(_band(cost, colour))
        series.append(
            Series(
                cost.name,
                "line",
                tuple(point.at_years for point in path),
                tuple(point.total for point in path),
                censored=(*(False for _ in path[1:]), cost.over_years.at_least),
                hover=tuple(
                    f"{cost.name}: {money(point.total, currency)} after {point.at_years:.1f} years" for point in path
                ),
                colour=colour,
                dash=dash,
                end_label=cost.name,
            )
        )
    rate = view.terms.choices.discount_rate_pct
    return Chart(
        name="cost-over-years",
        title=_title(view),
        subtitle=f"Purchase, energy and consumables; {view.terms.assumptions.price_per_kwh:g} {currency} per kWh, "
        f"{view.terms.hours_per_day:g} h per day, {view.terms.choices.setting} setting"
        + (f"; discounted at {rate:g} % per year" if rate else ""),
        x_axis=Axis("Years from purchase", "years", low=0.0, high=float(years)),
        y_axis=Axis("Cumulative cost", currency, low=0.0),
        series=tuple(series),
        alt_text=over_years_text(view),
        source_line=facts.source_line(f"Electricity: {view.terms.tariff_words}"),
        x_column="years_from_buying",
        y_column=f"{currency.lower()}_spent",
        house=house_style(facts),
    )


def over_years_text(view: RunningCostView) -> str:
    """Cheapest and most expensive of the drawn units with complete costs."""
    currency, years = view.terms.assumptions.currency, view.terms.choices.years
    whole = sorted((c for c in view.drawn if not c.over_years.at_least), key=lambda c: c.over_years.total)
    if not view.drawn:
        return "No unit is shown: none of the selected units is in the list."
    if not whole:
        return f"Data are missing for every unit shown, so each cost over {years} years is a lower bound."
    first, last = whole[0], whole[-1]
    text = f"After {years} years {first.name} has cost {_total(first)}\u00a0{currency}"
    return text + (f", {last.name} {_total(last)}\u00a0{currency}." if last is not first else ".")


def _title(view: RunningCostView) -> str:
    """The costs at both ends; without complete costs, what is drawn."""
    currency, years = view.terms.assumptions.currency, view.terms.choices.years
    whole = sorted((c for c in view.drawn if not c.over_years.at_least), key=lambda c: c.over_years.total)
    if not whole:
        return f"Cost over {years} years"
    first, last = whole[0], whole[-1]
    if last is first:
        return f"{first.name} costs {_total(first)}\u00a0{currency} over {years} years"
    ends = f"{_total(first)}\u00a0{currency}, {last.name} {_total(last)}\u00a0{currency}"
    return f"Over {years} years {first.name} costs {ends}"


def _total(cost: UnitCost) -> str:
    return amount_text(cost.over_years.total, cost.over_years.interval_95).value


def _band(cost: UnitCost, colour: int) -> Series:
    """Band between the favourable and the unfavourable end of power and filter life."""
    times = tuple(point.at_years for point in cost.over_years.path)
    return Series(
        f"{cost.name}, band",
        "band",
        times,
        tuple(point.total for point in cost.over_years.path),
        low=tuple(_at(cost.over_years.low, time) for time in times),
        high=tuple(_at(cost.over_years.high, time) for time in times),
        colour=colour,
    )


def _at(path: tuple[PathPoint, ...], time: float) -> float:
    """The curve at a time; at a step, the value after it."""
    before = path[0]
    for point in path:
        if point.at_years > time:
            share = (time - before.at_years) / (point.at_years - before.at_years)
            return before.total + share * (point.total - before.total)
        before = point
    return before.total
