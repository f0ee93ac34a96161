"""How far an order of units is carried by the data: an interval of ranks for each, and which cannot be told apart.

The joint distribution is sampled, what settings share (natural decay, room volume) drawn once for all of them.
"""

from collections.abc import Callable, Hashable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from app.compute.measured import Measured, coverage_factor_95
from app.compute.setting_in_room import SettingInRoom

Floats = NDArray[np.float64]

# Fixed, so that the same bench gives the same intervals on every page and machine. The value itself means nothing.
SEED = 20_260_101
DRAWS = 2_000

# Critical values are looked up by 1/ν, in which Student's t is smooth; the error stays below 0.001.
_INVERSE_DEGREES = np.concatenate([[0.0], np.geomspace(1e-3, 2.0, 400)])


@dataclass(frozen=True, slots=True)
class RankRow:
    """One unit in the order.

    place : 1 for the best; None for what could not be measured, which stands after all the others
    rank_low_95, rank_high_95 : ranks between which it lies, both included; what could not be measured shares all the
        ranks after the measured ones
    not_told_apart_from : how many other measured units it cannot be told apart from
    """

    key: int
    place: int | None
    rank_low_95: int
    rank_high_95: int
    not_told_apart_from: int


@dataclass(frozen=True, slots=True, eq=False)
class RankTable:
    """Units in order, best first.

    groups : runs of neighbours in the order of which no two can be told apart, two units or more, as long as possible;
        they overlap where one unit is like both its neighbours and these are not like each other
    """

    rows: tuple[RankRow, ...]
    groups: tuple[tuple[int, ...], ...]
    _place: Mapping[int, int]
    _alike: NDArray[np.bool_]

    def cannot_be_told_apart(self, one: int, other: int) -> bool:
        """Whether the 95 % interval of the difference of two measured units holds zero. Each pair is judged by
        itself: of twenty pairs of equal units one is told apart by chance.

        Raises ValueError for a unit that is not among the measured ones.
        """
        for key in (one, other):
            if key not in self._place:
                raise ValueError(f"Unit {key} is not among the {len(self._place)} measured units of this order.")
        return bool(self._alike[self._place[one], self._place[other]])


def rank_by_clean_air(settings: Mapping[int, SettingInRoom], not_measurable: Sequence[int] = ()) -> RankTable:
    """Order by clean air delivery rate, highest first.

    settings : key and what the rate is made of; natural decays with one pool_id are one quantity, and so are volumes
        with one room_id
    not_measurable : keys of units whose rate cannot be told from zero; never ranked by their noise
    Raises ValueError where a key stands in both.

    >>> room, natural = Measured(30.0, 1.0), Measured(0.5, 0.1)
    >>> settings = {7: SettingInRoom(Measured(4.0, 0.1), natural, 1, room, 1),
    ...             8: SettingInRoom(Measured(6.0, 0.1), natural, 1, room, 1)}
    >>> [(row.key, row.place, row.rank_low_95, row.rank_high_95) for row in rank_by_clean_air(settings, [9]).rows]
    [(8, 1, 1, 1), (7, 2, 2, 2), (9, None, 3, 3)]
    """
    keys = sorted(settings)
    tested = [settings[key] for key in keys]
    total = _Columns.of([s.total_decay for s in tested])
    natural = _NaturalDecays.of(tested)
    volume, room_of = _shared([(s.room_id, s.volume) for s in tested])
    rate_per_volume = total.value - natural.value[natural.pool_of]
    volumes = volume.value[room_of]

    def draw(random: np.random.Generator) -> Floats:
        # in this order, always: the seed then stands for the same draws
        naturals, rooms, totals = (part.draw(random) for part in (natural, volume, total))
        drawn: Floats = rooms[:, room_of] * (totals - naturals[:, natural.pool_of])
        return drawn

    of_room = np.where(room_of[:, None] == np.arange(volume.value.size), rate_per_volume[:, None], 0.0)
    parts = [natural.variance_of_differences(volumes)]
    for column, (uncertainty, degrees) in enumerate(zip(volume.uncertainty, volume.degrees, strict=True)):
        part = uncertainty * of_room[:, column]
        parts.append(((part[:, None] - part[None, :]) ** 2, np.asarray(degrees)))
    alike = _alike(volumes * rate_per_volume, total.scaled(volumes), parts)
    return _table(keys, volumes * rate_per_volume, alike, draw, not_measurable)


def rank_by_measured(
    quantities: Mapping[int, Measured], *, lowest_first: bool = False, not_measurable: Sequence[int] = ()
) -> RankTable:
    """Order by any quantity measured for each unit by itself: total decay, sound, power, cost.

    not_measurable : keys of units without a value that can be ranked, such as a time to clear that was not reached
    Raises ValueError where a key stands in both.

    >>> table = rank_by_measured({1: Measured(40.0, 1.0), 2: Measured(41.0, 1.0), 3: Measured(60.0, 1.0)},
    ...                          lowest_first=True)
    >>> [(row.key, row.rank_low_95, row.rank_high_95) for row in table.rows], table.groups
    ([(1, 1, 2), (2, 1, 2), (3, 3, 3)], ((1, 2),))
    """
    keys = sorted(quantities)
    columns = _Columns.of([quantities[key] for key in keys])
    sign = -1.0 if lowest_first else 1.0
    alike = _alike(columns.value, columns, [])
    return _table(keys, sign * columns.value, alike, lambda random: sign * columns.draw(random), not_measurable)


@dataclass(frozen=True, slots=True)
class _Columns:
    """Values, uncertainties and degrees of freedom of many measured quantities side by side."""

    value: Floats
    uncertainty: Floats
    degrees: Floats

    @classmethod
    def of(cls, quantities: Sequence[Measured]) -> "_Columns":
        return cls(
            np.array([q.value for q in quantities], dtype=np.float64),
            np.array([q.uncertainty for q in quantities], dtype=np.float64),
            np.array([q.degrees_of_freedom for q in quantities], dtype=np.float64),
        )

    def scaled(self, factor: Floats) -> "_Columns":
        return _Columns(self.value * factor, self.uncertainty * np.abs(factor), self.degrees)

    def draw(self, random: np.random.Generator) -> Floats:
        """Draws by rows from Student's t of each column, normal where the degrees of freedom are infinite."""
        drawn = random.standard_normal((DRAWS, self.value.size))
        finite = np.isfinite(self.degrees)
        if finite.any():
            chi_square = 2.0 * random.standard_gamma(self.degrees[finite] / 2.0, (DRAWS, int(finite.sum())))
            drawn[:, finite] /= np.sqrt(chi_square / self.degrees[finite])
        return self.value + self.uncertainty * drawn


@dataclass(frozen=True, slots=True)
class _NaturalDecays:
    """The distinct pooled natural decays, each a unit combination of independent runs, some of them in common.

    of_run : one row for each pool, one column for each run, rows of length one: their products are the correlations
    pool_of : for each setting the place of its pool
    """

    value: Floats
    uncertainty: Floats
    degrees: Floats
    of_run: Floats
    pool_of: NDArray[np.intp]

    @classmethod
    def of(cls, settings: Sequence[SettingInRoom]) -> "_NaturalDecays":
        columns, pool_of = _shared([(s.pool_id, s.natural_decay) for s in settings])
        runs: dict[int, Sequence[tuple[Hashable, float]]] = {}
        for setting, place in zip(settings, pool_of.tolist(), strict=True):
            # a pool of which the runs are not known is one run of its own
            runs.setdefault(place, setting.pool_runs or ((("pool", setting.pool_id), 1.0),))
        column_of = {name: number for number, name in enumerate({run: None for r in runs.values() for run, _ in r})}
        of_run = np.zeros((columns.value.size, len(column_of)))
        for place, weighted in runs.items():
            for run, weight in weighted:
                of_run[place, column_of[run]] = weight
        of_run /= np.linalg.norm(of_run, axis=1, keepdims=True)
        return cls(columns.value, columns.uncertainty, columns.degrees, of_run, pool_of)

    def draw(self, random: np.random.Generator) -> Floats:
        """Draws by rows. One chi-square for all pools, on the fewest degrees of freedom: they rest on common runs."""
        drawn: Floats = random.standard_normal((DRAWS, self.of_run.shape[1])) @ self.of_run.T
        fewest = float(self.degrees.min(initial=np.inf))
        if np.isfinite(fewest):
            drawn /= np.sqrt(2.0 * random.standard_gamma(fewest / 2.0, (DRAWS, 1)) / fewest)
        return self.value + self.uncertainty * drawn

    def variance_of_differences(self, volumes: Floats) -> tuple[Floats, Floats]:
        """Of V1 n1 - V2 n2 for each pair of settings, with the fewer degrees of freedom of the two pools."""
        correlation = (self.of_run @ self.of_run.T)[np.ix_(self.pool_of, self.pool_of)]
        correlation[self.pool_of[:, None] == self.pool_of[None, :]] = 1.0  # so that one pool cancels to the last digit
        one = volumes * self.uncertainty[self.pool_of]
        degrees = self.degrees[self.pool_of]
        variance = one[:, None] ** 2 + one[None, :] ** 2 - 2.0 * correlation * one[:, None] * one[None, :]
        return np.maximum(variance, 0.0), np.minimum(degrees[:, None], degrees[None, :])


def _shared(parts: Sequence[tuple[Hashable, Measured]]) -> tuple[_Columns, NDArray[np.intp]]:
    """The distinct shared quantities, and for each setting the place of its own among them."""
    distinct: dict[Hashable, Measured] = {}
    for name, quantity in parts:
        if distinct.setdefault(name, quantity) != quantity:
            raise ValueError(f"Two settings share {name!r} but have different values for it; one was needed.")
    place = {name: number for number, name in enumerate(distinct)}
    return _Columns.of(list(distinct.values())), np.array([place[name] for name, _ in parts], dtype=np.intp)


def _alike(values: Floats, own: _Columns, shared: Sequence[tuple[Floats, Floats]]) -> NDArray[np.bool_]:
    """For each pair whether the t interval of the difference holds zero, what both share cancelled.

    values : of the quantity; own : its independent part
    shared : variance of the difference of each pair from a common source, and its degrees of freedom
    """
    own_variance = own.uncertainty**2
    per_degree = own_variance**2 / own.degrees
    variance = own_variance[:, None] + own_variance[None, :]
    fourth_power = per_degree[:, None] + per_degree[None, :]
    for of_difference, degrees in shared:
        variance += of_difference
        fourth_power += of_difference**2 / degrees
    inverse_degrees = np.divide(fourth_power, variance**2, out=np.zeros_like(variance), where=variance > 0)
    factor = np.interp(inverse_degrees, _INVERSE_DEGREES, _critical_values())
    alike: NDArray[np.bool_] = np.abs(values[:, None] - values[None, :]) <= factor * np.sqrt(variance)
    return alike


def _critical_values() -> Floats:
    return np.array([coverage_factor_95(1.0 / x if x else np.inf) for x in _INVERSE_DEGREES])


def _table(
    keys: Sequence[int],
    highest_first: Floats,
    alike: NDArray[np.bool_],
    draw: Callable[[np.random.Generator], Floats],
    not_measurable: Sequence[int],
) -> RankTable:
    both = set(keys) & set(not_measurable)
    if both:
        raise ValueError(f"Units {sorted(both)} are given as measured and as not measurable; each can be only one.")
    number = len(keys)
    order = np.argsort(-highest_first, kind="stable")
    low, high = _rank_bounds(draw, number)
    alike = alike[np.ix_(order, order)]
    place = {keys[index]: position for position, index in enumerate(order)}
    rows = [
        RankRow(
            key=keys[index],
            place=position + 1,
            rank_low_95=int(low[index]),
            rank_high_95=int(high[index]),
            not_told_apart_from=int(alike[position].sum()) - 1,
        )
        for position, index in enumerate(order)
    ]
    last = number + len(not_measurable)
    rows += [RankRow(key, None, number + 1, last, 0) for key in sorted(not_measurable)]
    groups = tuple(tuple(row.key for row in rows[start:end]) for start, end in _runs_of_alike(alike))
    return RankTable(tuple(rows), groups, place, alike)


def _rank_bounds(
    draw: Callable[[np.random.Generator], Floats], number: int
) -> tuple[NDArray[np.int32], NDArray[np.int32]]:
    """2.5 and 97.5 % points of the rank of each column over all draws, rank 1 for the highest."""
    if number == 0:
        return np.empty(0, dtype=np.int32), np.empty(0, dtype=np.int32)
    drawn = draw(np.random.default_rng(SEED)).astype(np.float32)
    ordered = np.argsort(-drawn, axis=1)
    ranks = np.empty((DRAWS, number), dtype=np.int32)
    np.put_along_axis(ranks, ordered, np.arange(1, number + 1, dtype=np.int32)[None, :], axis=1)
    lowest, highest = int(0.025 * DRAWS), DRAWS - 1 - int(0.025 * DRAWS)
    by_unit = np.partition(np.ascontiguousarray(ranks.T), (lowest, highest), axis=1)
    return by_unit[:, lowest], by_unit[:, highest]


def _runs_of_alike(alike: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """Longest runs [start, end) of neighbours that are all alike, of two or more, none inside another."""
    runs: list[tuple[int, int]] = []
    end = 0
    for start in range(alike.shape[0]):
        end = max(end, start + 1)
        grown = False
        while end < alike.shape[0] and alike[end, start:end].all():
            end, grown = end + 1, True
        if grown:
            runs.append((start, end))
    return runs
