"""When the more expensive of two units has paid back its higher price."""

from dataclasses import dataclass, replace
from itertools import pairwise

from app.compute.cost_and_energy.cost_over_years import CostOverYears, PathPoint

_SAME_MONEY = 1e-9


@dataclass(frozen=True, slots=True)
class BreakEven:
    """Cost of two units compared over the chosen years.

    cheaper_at_start, cheaper_at_end : name of the unit with the lower total, empty where both are equal
    at_years : when the final order is reached for good; None if the order never changes [years]
    crossings : every time the order changes; more than one where replacements push a total above the other [years]
    within_band : the bands of the two totals overlap at the end, so the order is not certain
    missing : costs left out of either total, a sentence each; a lower bound may only look cheaper
    sentence : the finding in words
    """

    cheaper_at_start: str
    cheaper_at_end: str
    at_years: float | None
    crossings: tuple[float, ...]
    within_band: bool
    missing: tuple[str, ...]
    sentence: str


def break_even(first: CostOverYears, second: CostOverYears) -> BreakEven:
    """Where the cumulative costs of two units cross.

    Parameters
        first, second : costs over the same years in the same currency
    Returns  crossings and the order at start and end
    Raises   ValueError where the currencies or the years differ

    >>> from app.compute.cost_and_energy.running_cost import CostAssumptions, OwnedUnit
    >>> from app.compute.cost_and_energy.cost_over_years import cost_over_years
    >>> from app.compute.cost_and_energy.energy_use import RunningPart
    >>> assumed = CostAssumptions(price_per_kwh=0.20)
    >>> dear = OwnedUnit("dear", (RunningPart(24.0, 10.0),), purchase_price=300.0, consumables=())
    >>> cheap = OwnedUnit("cheap", (RunningPart(24.0, 60.0),), purchase_price=100.0, consumables=())
    >>> round(break_even(cost_over_years(dear, assumed, 5), cost_over_years(cheap, assumed, 5)).at_years, 3)
    2.283
    """
    if first.currency != second.currency:
        raise ValueError(
            f"The costs are in {first.currency} and {second.currency}; both must be in one currency. Record prices in "
            "one currency, or compare other units."
        )
    if len(first.by_year) != len(second.by_year):
        raise ValueError(
            f"The costs cover {len(first.by_year) - 1} and {len(second.by_year) - 1} years; "
            "both need to cover the same years."
        )
    gap = _gap(first.path, second.path)
    crossings = tuple(_crossings(gap))
    start, end = gap[0][1], gap[-1][1]
    at_start, at_end = _cheaper(start, first, second), _cheaper(end, first, second)
    changed = bool(at_start and at_end and at_start != at_end and crossings)
    overlap = first.low[-1].total <= second.high[-1].total and second.low[-1].total <= first.high[-1].total
    result = BreakEven(
        at_start,
        at_end,
        crossings[-1] if changed else None,
        crossings,
        overlap,
        tuple(f"{cost.name}: {sentence}" for cost in (first, second) for sentence in cost.missing),
        "",
    )
    return replace(result, sentence=_sentence(result, first, second))


def _gap(first: tuple[PathPoint, ...], second: tuple[PathPoint, ...]) -> list[tuple[float, float]]:
    """First minus second at every time of either curve, before and after each step."""
    times = sorted({point.at_years for point in first} | {point.at_years for point in second})
    gap = []
    for at_years in times:
        before, after = (
            _at(first, at_years, after=is_after) - _at(second, at_years, after=is_after) for is_after in (False, True)
        )
        gap.append((at_years, before))
        if abs(after - before) > _SAME_MONEY:
            gap.append((at_years, after))
    return gap


def _at(path: tuple[PathPoint, ...], at_years: float, *, after: bool) -> float:
    """Value of the curve at a time: linear between points; at a step, the value before or after it."""
    at_time = [point.total for point in path if point.at_years == at_years]
    if at_time:
        return at_time[-1] if after else at_time[0]
    left, right = next((a, b) for a, b in pairwise(path) if a.at_years < at_years < b.at_years)
    share = (at_years - left.at_years) / (right.at_years - left.at_years)
    return left.total + share * (right.total - left.total)


def _crossings(gap: list[tuple[float, float]]) -> list[float]:
    found = []
    last_time, last_gap = gap[0]
    equal_since: float | None = None
    for at_years, now in gap[1:]:
        if abs(now) <= _SAME_MONEY:
            equal_since = at_years if equal_since is None else equal_since
            continue
        if last_gap * now < 0:
            straight = last_time + (at_years - last_time) * last_gap / (last_gap - now)
            found.append(straight if equal_since is None else equal_since)
        last_time, last_gap, equal_since = at_years, now, None
    return found


def _cheaper(gap: float, first: CostOverYears, second: CostOverYears) -> str:
    if abs(gap) <= _SAME_MONEY:
        return ""
    return first.name if gap < 0 else second.name


def _sentence(result: BreakEven, first: CostOverYears, second: CostOverYears) -> str:
    years = len(first.by_year) - 1
    if result.at_years is not None:
        words = f"{result.cheaper_at_end} costs less in total after {result.at_years:.1f} years"
    elif not result.cheaper_at_end:
        words = f"{first.name} and {second.name} cost the same over {years} years"
    else:
        words = f"{result.cheaper_at_end} costs less in total after {years} years, as at the start"
        if not result.cheaper_at_start or result.cheaper_at_start != result.cheaper_at_end:
            words = f"{result.cheaper_at_end} costs less in total after {years} years"
    if result.within_band:
        words += "; power and filter life are not known well enough to be sure"
    if result.missing:
        words += "; some costs are missing, so the totals are lower bounds"
    return words + "."
