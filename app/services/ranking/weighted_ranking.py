"""Weighted ranking of the units by several quantities, with its sensitivity to the weights."""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

from app.compute.comparison.weighted_order import WeightedOrder, WeightedQuantity, weighted_order
from app.errors import InvalidValue
from app.services.ranking.table import RankedSetting, Ranking, rank_units
from app.services.snapshot.bench_snapshot import BenchSnapshot
from app.services.snapshot.choices import MOST_ROWS, Offered, RankingChoices

MOST_WEIGHT = 100.0


@dataclass(frozen=True, slots=True)
class Weighable:
    """A quantity that can have a weight. key : its name in the URL; words : its label."""

    key: str
    words: str
    higher_is_better: bool
    value_of: Callable[[RankedSetting, Offered], float | None]


def _clean_air(line: RankedSetting, _: Offered) -> float | None:
    """None if the rate is not distinguishable from zero, so that noise does not affect the order."""
    return line.row.clean_air_delivery_rate_m3_per_h if line.has_rate else None


def _sound(line: RankedSetting, _: Offered) -> float | None:
    """None for an upper bound, because the true level may be far lower."""
    return None if line.sound is None or line.sound.is_upper_bound else line.sound.level_dba


def _price(line: RankedSetting, offered: Offered) -> float | None:
    return line.row.price if line.row.price_currency == offered.currency else None


def _running_cost(line: RankedSetting, _: Offered) -> float | None:
    return None if line.cost is None or line.cost.at_least else line.cost.total_per_year


WEIGHABLES: tuple[Weighable, ...] = (
    Weighable("clean_air_delivery_rate", "Clean air delivery rate", True, _clean_air),
    Weighable("sound", "Sound", False, _sound),
    Weighable("power", "Power", False, lambda line, _: line.row.power_w),
    Weighable("price", "Price", False, _price),
    Weighable("running_cost", "Running cost", False, _running_cost),
)


@dataclass(frozen=True, slots=True)
class ReadersOrder:
    """The ranking for given weights.

    weights : of every quantity, zero by default
    order : None without any weight; the keys in it are settings
    lines : setting to its line of the ranking
    """

    ranking: Ranking
    weights: dict[str, float]
    order: WeightedOrder | None
    lines: dict[int, RankedSetting]


def readers_order(
    snapshot: BenchSnapshot, weights: Mapping[str, float], choices: RankingChoices | None = None
) -> ReadersOrder:
    """Ranks the filtered lines by the reader's weights. The bench has no weights of its own.

    Raises InvalidValue for an unknown quantity, and for a weight below zero or above 100.
    """
    known = {weighable.key for weighable in WEIGHABLES}
    for key, weight in weights.items():
        if key not in known:
            raise InvalidValue(
                f"There is no quantity {key!r} to weight; choose one of: {', '.join(sorted(known))}.", field=key
            )
        if not (math.isfinite(weight) and 0 <= weight <= MOST_WEIGHT):
            raise InvalidValue(
                f"A weight is {weight:g}; it must be from 0 to {MOST_WEIGHT:g}. Only the ratios matter.",
                field=key,
            )
    asked = replace(choices or RankingChoices(), limit=MOST_ROWS, offset=0)
    ranking = rank_units(snapshot, asked)
    lines = {line.row.setting_id: line for line in ranking.lines if line.row.setting_id is not None}
    full = {weighable.key: float(weights.get(weighable.key, 0.0)) for weighable in WEIGHABLES}
    order = None
    if any(full.values()):
        order = weighted_order(
            list(lines),
            [
                WeightedQuantity(
                    name=weighable.words,
                    weight=full[weighable.key],
                    higher_is_better=weighable.higher_is_better,
                    values=tuple(weighable.value_of(line, ranking.offered) for line in lines.values()),
                )
                for weighable in WEIGHABLES
            ],
        )
    return ReadersOrder(ranking, full, order, lines)
