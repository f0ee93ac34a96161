"""Chart of which assumption changes the order of two units: their cost difference with one assumption varied."""

from app.compute.cost_and_energy.cost_sensitivity import Sensitivity
from app.compute.wording.numbers import listed, money
from app.figures.chart import Axis, Chart, ReferenceLine, Series
from app.figures.charts.house_style import house_style
from app.services.bench.chart_facts import ChartFacts
from app.services.costs.cost_of_owning import CostOfOwning


def cost_sensitivity_chart(found: CostOfOwning, facts: ChartFacts) -> Chart:
    """A bar per assumption, from the difference at its low to that at its high value; zero is equal cost."""
    first, second = compared_names(found)
    currency, years = found.view.terms.assumptions.currency, found.view.terms.choices.years
    rows = [_row(entry, first, second) for entry in found.sensitivity] if first else []
    names = tuple(name for name, *_ in rows)
    series: tuple[Series, ...] = ()
    if rows:
        series = (
            Series(
                "difference in cost",
                "interval",
                tuple(base for _, base, _, _ in rows),
                names,
                low=tuple(low for _, _, low, _ in rows),
                high=tuple(high for _, _, _, high in rows),
                hover=tuple(
                    f"{name}: {money(low, currency, 0)} to {money(high, currency, 0)}" for name, _, low, high in rows
                ),
            ),
        )
    return Chart(
        name="cost-sensitivity",
        title=_title(found),
        subtitle=f"Cost of {first} minus cost of {second} over {years} years, one assumption varied at a time"
        if first
        else "Two units are needed",
        x_axis=Axis(f"{first} costs more by" if first else "Difference", currency),
        y_axis=Axis("", names=names),
        series=series,
        alt_text=sensitivity_text(found),
        source_line=facts.source_line(f"Electricity: {found.view.terms.tariff_words}"),
        reference_lines=(ReferenceLine("x", 0.0, "the same cost"),) if rows else (),
        horizontal=True,
        x_column=f"difference_{currency.lower()}",
        y_column="assumption",
        house=house_style(facts),
    )


def _title(found: CostOfOwning) -> str:
    """Whether some assumption changes which of the two costs less."""
    first, second = compared_names(found)
    if not first:
        return "Two units are needed to compare their costs"
    swapping = [entry.assumption for entry in found.sensitivity if _swaps(entry, first, second)]
    if swapping:
        return f"Which of {first} and {second} costs less depends on {listed(swapping)}"
    return f"No single assumption changes which of {first} and {second} costs less"


def compared_names(found: CostOfOwning) -> tuple[str, str]:
    """Names of the two compared units, empty if there are none."""
    if found.compared is None:
        return "", ""
    by_id = {cost.unit.row.unit_id: cost.name for cost in found.view.drawn}
    return by_id[found.compared[0]], by_id[found.compared[1]]


def sensitivity_text(found: CostOfOwning) -> str:
    """Which assumptions change the order of the two units, and the range of the difference under each."""
    first, second = compared_names(found)
    if not first:
        return "Select two units to see which assumptions change their ranking."
    swapping = [entry.assumption for entry in found.sensitivity if _swaps(entry, first, second)]
    words = (
        f"The ranking of {first} and {second} changes with {listed(swapping)}."
        if swapping
        else f"No single assumption changes the ranking of {first} and {second}."
    )
    rows = [_row(entry, first, second) for entry in found.sensitivity]
    if not rows:
        return words
    currency, years = found.view.terms.assumptions.currency, found.view.terms.choices.years
    base, low, high = rows[0][1], min(row[2] for row in rows), max(row[3] for row in rows)
    dearer = first if base >= 0 else second
    ends = sorted((abs(low), abs(high))) if low * high >= 0 else None
    between = (
        f"with one assumption varied, {money(ends[0], currency, 0)} to {money(ends[1], currency, 0)} more"
        if ends
        else f"with one assumption varied, {first} costs {money(abs(low), currency, 0)} less to "
        f"{money(high, currency, 0)} more than {second}"
    )
    known = f"{words} {dearer} costs {money(abs(base), currency, 0)} more over {years} years; {between}."
    if found.pair is not None and found.pair.missing:
        return f"{known} Data are missing, so this applies only to the known part of their costs."
    return known


def moved_text(entry: Sensitivity) -> str:
    """The assumption with its low and high value.

    >>> from app.compute.cost_and_energy.cost_sensitivity import Moved
    >>> moved_text(Sensitivity("hours a day", "h", Moved(12.0, (), ()), Moved(24.0, (), ()), ()))
    'hours a day, 12 to 24 h'
    """
    low, high, symbol = entry.low.value, entry.high.value, entry.unit_symbol
    if symbol == "per year":
        low, high, symbol = 100 * low, 100 * high, "% a year"
    return f"{entry.assumption}, {low:.3g} to {high:.3g}{' ' + symbol if symbol else ''}"


def _row(entry: Sensitivity, first: str, second: str) -> tuple[str, float, float, float]:
    at_low, at_high = (dict(moved.totals)[first] - dict(moved.totals)[second] for moved in (entry.low, entry.high))
    base = dict(entry.base_totals)[first] - dict(entry.base_totals)[second]
    return moved_text(entry), base, min(at_low, at_high, base), max(at_low, at_high, base)


def _swaps(entry: Sensitivity, first: str, second: str) -> bool:
    return any({first, second} == set(pair) for pair in entry.changed_places)
