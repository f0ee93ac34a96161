"""Chart of prices of a unit and its consumables over time; each holds until the next."""

from dataclasses import replace
from datetime import date

from app.compute.wording.numbers import counted, money
from app.figures.chart import Axis, Chart, Series
from app.figures.charts.house_style import house_style
from app.figures.date_axis import day_number
from app.figures.palette import cues
from app.services.bench.chart_facts import ChartFacts
from app.services.units.price_history import PriceHistory, PriceLine


def price_history_chart(history: PriceHistory, facts: ChartFacts) -> Chart:
    """A step line for the unit and one per pack of each consumable, in the most common currency."""
    days = [seen.seen_on for line in history.lines for seen in line.prices]
    latest = max(days, default=date(2026, 1, 1))
    series = tuple(
        _steps(line, history.currency, latest, cue)
        for line, cue in zip(history.lines, cues(len(history.lines)), strict=True)
    )
    first, last = day_number(min(days, default=latest)), day_number(latest)
    air = max(10.0, 0.05 * (last - first))  # so that the first step does not touch the axis
    return Chart(
        name="price-history",
        title=_title(history),
        subtitle=f"Prices seen, in {history.currency}; each applies until the next was seen",
        x_axis=Axis("Day", scale="days", low=first - air, high=last + air),
        y_axis=Axis("Price", history.currency, low=0.0),
        series=series,
        alt_text=price_text(history),
        source_line=facts.source_line(counted(sum(len(line.prices) for line in history.lines), "price")),
        x_column="day",
        y_column=f"price_{history.currency.lower()}",
        house=house_style(facts),
    )


def _steps(line: PriceLine, currency: str, latest: date, cue: tuple[int, int]) -> Series:
    """The prices of one line; the last one extends to the end of the picture."""
    held = [*line.prices, replace(line.prices[-1], seen_on=latest)]
    return Series(
        line.name,
        "step",
        tuple(day_number(seen.seen_on) for seen in held),
        tuple(seen.amount for seen in held),
        hover=tuple(
            f"{line.name}: {money(seen.amount, currency, 2)} on {seen.seen_on.isoformat()}"
            + (f", {seen.source}" if seen.source else "")
            for seen in (*line.prices, line.prices[-1])
        ),
        colour=cue[0],
        dash=cue[1],
        end_label=line.name,
    )


def _title(history: PriceHistory) -> str:
    """The unit's latest price, and how far it is from the first."""
    own = next((line for line in history.lines if line.is_unit), None)
    if own is None:
        return f"Prices of consumables for {history.unit_name}"
    first, last = own.prices[0], own.prices[-1]
    words = f"{history.unit_name} costs {money(last.amount, history.currency)}"
    if last.amount == first.amount:
        return words
    change = money(abs(last.amount - first.amount), history.currency)
    return f"{words}, {change} {'more' if last.amount > first.amount else 'less'} than on {first.seen_on.isoformat()}"


def price_text(history: PriceHistory) -> str:
    """First and latest price of the unit, and what is omitted."""
    own = next((line for line in history.lines if line.is_unit), None)
    words = "No price of the unit itself recorded."
    if own is not None:
        first, last = own.prices[0], own.prices[-1]
        words = f"{history.unit_name}: {money(last.amount, history.currency)} on {last.seen_on.isoformat()}"
        if first is not last:
            words += f", {money(first.amount, history.currency)} on {first.seen_on.isoformat()}"
        words += "."
    if history.in_other_currencies:
        words += f" {counted(history.in_other_currencies, 'price')} in another currency not included."
    return words
