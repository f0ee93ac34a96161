"""Comparison of one quantity of two settings, one function per quantity, with the reason if it is impossible."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import TypeVar

from app.compute.comparison.difference import Comparison, compare_clean_air, compare_clearing_times, compare_measured
from app.compute.comparison.wording import CANNOT_BE_TOLD_APART, ComparisonText, faster, less, more_clean_air, quieter
from app.compute.statistics.measured import Measured
from app.services.measurements.comparable_sound import levels_to_compare
from app.services.ranking.compared_setting import ComparedSetting

CLEAN_AIR = "clean_air_delivery_rate"
CLEARING_TIME = "standard_clearing_time"
SOUND = "sound"
POWER = "power"
PRICE = "price"
RUNNING_COST = "running_cost"


@dataclass(frozen=True, slots=True)
class Finding:
    """Result of comparing one quantity of two settings.

    words : a sentence with the names of both
    told_apart : None if the two cannot be compared; `words` then gives the reason
    comparison : the numbers, first setting against second
    said : which of the two is better, and by how much, without their names; None where they are not compared
    """

    words: str
    told_apart: bool | None
    comparison: Comparison | None
    said: ComparisonText | None = None


def compared(quantity: str, first: ComparedSetting, second: ComparedSetting, currency: str) -> Finding:
    """Compares the first setting with the second in one quantity."""
    return _BY_QUANTITY[quantity](first, second, currency)


def _clean_air(first: ComparedSetting, second: ComparedSetting, _: str) -> Finding:
    rates = _both(first, second, lambda s: s.tested.in_room if s.tested else None, "{} has no clean air rate here.")
    if isinstance(rates, Finding):
        return rates
    if not (first.cleans_measurably or second.cleans_measurably):
        return Finding("Neither can be told apart from an empty room.", False, None)
    comparison = compare_clean_air(*rates)
    return _finding(comparison, more_clean_air(comparison), first, second, "clean air")


def _clearing_time(first: ComparedSetting, second: ComparedSetting, _: str) -> Finding:
    rates = _both(first, second, lambda s: s.tested.total_decay if s.tested else None, "{} has no decay rate here.")
    if isinstance(rates, Finding):
        return rates
    pooled = all(setting.tested is not None and setting.tested.pooled_spread for setting in (first, second))
    comparison = compare_clearing_times(*rates, pooled_spread=pooled, shared=_shared_linearity(first, second))
    return _finding(comparison, faster(comparison), first, second, "speed of clearing")


def _shared_linearity(first: ComparedSetting, second: ComparedSetting) -> tuple[float, float]:
    """Linearity of the logger of both, in their total decay [1/h]; zero where they are not of one logger."""
    one, other = first.tested, second.tested
    if one is None or other is None or one.logger_id is None or one.logger_id != other.logger_id:
        return 0.0, 0.0
    return one.linearity_per_h, other.linearity_per_h


def _sound(first: ComparedSetting, second: ComparedSetting, _: str) -> Finding:
    sounds = _both(first, second, lambda setting: setting.sound, "The sound level of {} was not measured.")
    if isinstance(sounds, Finding):
        return sounds
    for setting, sound in zip((first, second), sounds, strict=True):
        if sound.level.upper_bound:
            return _not_comparable(f"Only an upper bound of the sound level of {setting.name} is known.")
    comparison = compare_measured(*levels_to_compare(*sounds), with_ratio=False)
    return _finding(comparison, quieter(comparison), first, second, "sound")


def _power(first: ComparedSetting, second: ComparedSetting, _: str) -> Finding:
    powers = _both(first, second, lambda setting: setting.power, "The power of {} was not measured.")
    if isinstance(powers, Finding):
        return powers
    comparison = compare_measured(*powers)
    return _finding(comparison, less(comparison, "draws", "W"), first, second, "power")


def _price(first: ComparedSetting, second: ComparedSetting, currency: str) -> Finding:
    prices = _both(first, second, lambda setting: setting.price_in(currency), f"{{}} has no price in {currency}.")
    if isinstance(prices, Finding):
        return prices
    comparison = compare_measured(Measured(prices[0], 0.0), Measured(prices[1], 0.0))
    if not comparison.told_apart:
        return Finding(f"{first.name} and {second.name} cost the same.", False, comparison)
    return _finding(comparison, less(comparison, "costs", currency), first, second, "price")


def _running_cost(first: ComparedSetting, second: ComparedSetting, currency: str) -> Finding:
    costs = _both(first, second, lambda setting: setting.running_cost, "No electricity price is set.")
    if isinstance(costs, Finding):
        return costs
    for setting in (first, second):
        if setting.line.cost is not None and setting.line.cost.at_least:
            return _not_comparable(f"Only a lower bound of the running cost of {setting.name} is known.")
    comparison = compare_measured(*costs)
    return _finding(comparison, less(comparison, "costs", currency, "less per year"), first, second, "running cost")


_Value = TypeVar("_Value")


def _both(
    first: ComparedSetting,
    second: ComparedSetting,
    value_of: Callable[[ComparedSetting], _Value | None],
    reason: str,
) -> tuple[_Value, _Value] | Finding:
    """The quantity of both, or the reason why one of them is missing."""
    one, other = value_of(first), value_of(second)
    if one is None or other is None:
        return _not_comparable(reason.format((first if one is None else second).name))
    return one, other


def _not_comparable(reason: str) -> Finding:
    return Finding(reason, None, None)


def _finding(
    comparison: Comparison, said: ComparisonText, first: ComparedSetting, second: ComparedSetting, quantity: str
) -> Finding:
    if said.subject is None:
        return Finding(
            f"By {quantity}, {first.name} and {second.name} {CANNOT_BE_TOLD_APART}.", False, comparison, said
        )
    subject, other = (first, second) if said.subject == "first" else (second, first)
    return Finding(f"{subject.name} {_than(said.words, other.name)}.", True, comparison, said)


def _than(words: str, other: str) -> str:
    """Inserts the other's name before the interval: "clears 1.6 times faster than B; between 1.4 and 1.9"."""
    statement, semicolon, interval = words.partition(";")
    joining = "as" if statement.endswith("as much clean air") else "than"
    return f"{statement} {joining} {other}{semicolon}{interval}"


_BY_QUANTITY: dict[str, Callable[[ComparedSetting, ComparedSetting, str], Finding]] = {
    CLEAN_AIR: _clean_air,
    CLEARING_TIME: _clearing_time,
    SOUND: _sound,
    POWER: _power,
    PRICE: _price,
    RUNNING_COST: _running_cost,
}
QUANTITIES = tuple(_BY_QUANTITY)
