"""Simultaneous 95 % intervals of ranks: with a probability of 95 % or more all of them hold at once.

A rank interval starts after all units that are significantly better and ends before all that are significantly worse.
All pairs are tested jointly (`joint_pairs`); quantities that settings share (natural decay, room volume) are drawn
once.
"""

from collections.abc import Callable, Collection, Hashable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from app.compute.comparison.joint_draws import DRAWS, Columns, NaturalDecays, distinct_of
from app.compute.comparison.joint_pairs import Differences, told_apart_jointly
from app.compute.comparison.setting_in_room import SettingInRoom, without_linearity
from app.compute.statistics.measured import Measured

Floats = NDArray[np.float64]

# Fixed, so that the same bench gives the same intervals on every page and machine. The value itself is arbitrary.
SEED = 20_260_101


@dataclass(frozen=True, slots=True)
class RankRow:
    """One unit in the ranking.

    place : 1 for the best; None for an unmeasurable unit, which ranks after all the others
    rank_low_95, rank_high_95 : lowest and highest rank, inclusive, simultaneously with all other units; unmeasurable
    units share all the ranks after the measured ones
    not_told_apart_from : number of other measured units that are statistical ties with it
    """

    key: int
    place: int | None
    rank_low_95: int
    rank_high_95: int
    not_told_apart_from: int


@dataclass(frozen=True, slots=True, eq=False)
class RankTable:
    """Units in order, best first.

    groups : longest runs of two or more neighbours that are all statistical ties with each other;
    they overlap where one unit ties with both neighbours and these do not tie with each other
    """

    rows: tuple[RankRow, ...]
    groups: tuple[tuple[int, ...], ...]
    _place: Mapping[int, int]
    _alike: NDArray[np.bool_]

    def is_tie(self, one: int, other: int) -> bool:
        """Whether two measured units are a statistical tie. All pairs of the table are tested jointly: with a
        probability of 95 % or more, none is put in the wrong order.

        Raises ValueError for a unit that was not measured.
        """
        for key in (one, other):
            if key not in self._place:
                raise ValueError(f"Unit {key} is not among the {len(self._place)} measured units of this order.")
        return bool(self._alike[self._place[one], self._place[other]])

    def like(self, key: int) -> tuple[int, ...]:
        """The statistical ties of a measured unit, in order; none for an unmeasured one."""
        place = self._place.get(key)
        if place is None:
            return ()
        return tuple(self.rows[other].key for other in np.flatnonzero(self._alike[place]).tolist() if other != place)


def rank_by_clean_air(settings: Mapping[int, SettingInRoom], not_measurable: Sequence[int] = ()) -> RankTable:
    """Order by clean air delivery rate, highest first.

    settings : key and the inputs of the rate; natural decays with the same pool_id are one quantity, and so are volumes
    with the same room_id
    not_measurable : keys of units whose rate is not distinguishable from zero; never ranked by noise
    Raises ValueError where a key is in both.

    >>> room, natural = Measured(30.0, 1.0), Measured(0.5, 0.1)
    >>> settings = {7: SettingInRoom(Measured(4.0, 0.1), natural, 1, room, 1),
    ...             8: SettingInRoom(Measured(6.0, 0.1), natural, 1, room, 1)}
    >>> [(row.key, row.place, row.rank_low_95, row.rank_high_95) for row in rank_by_clean_air(settings, [9]).rows]
    [(8, 1, 1, 1), (7, 2, 2, 2), (9, None, 3, 3)]
    """
    keys = sorted(settings)
    tested = [settings[key] for key in keys]
    total = Columns.of([without_linearity(s) for s in tested], [s.pooled_spread for s in tested])
    of_logger = _of_loggers(tested)
    natural = NaturalDecays.of(tested)
    volume, room_of = distinct_of([(s.room_id, s.volume) for s in tested])
    rate_per_volume = total.value - natural.value[natural.pool_of]
    volumes = volume.value[room_of]

    def draw(random: np.random.Generator) -> Floats:
        # always in this order, so that the seed gives the same draws
        naturals, rooms, totals = (part.draw(random) for part in (natural, volume, total))
        loggers = random.standard_normal((DRAWS, of_logger.shape[0])) @ of_logger
        drawn: Floats = rooms[:, room_of] * (totals + loggers - naturals[:, natural.pool_of])
        return drawn

    of_room = np.where(room_of[:, None] == np.arange(volume.value.size), rate_per_volume[:, None], 0.0)
    parts = [natural.variance_of_differences(volumes)]
    for column, (uncertainty, degrees) in enumerate(zip(volume.uncertainty, volume.degrees, strict=True)):
        part = uncertainty * of_room[:, column]
        parts.append(((part[:, None] - part[None, :]) ** 2, np.asarray(degrees)))
    parts += [((row[:, None] - row[None, :]) ** 2, np.asarray(np.inf)) for row in volumes * of_logger]
    rates = volumes * rate_per_volume
    return _table(keys, rates, _pairs(rates, total.scaled(volumes), parts), draw, not_measurable)


def _of_loggers(settings: Sequence[SettingInRoom]) -> Floats:
    """Linearity of each logger (rows) in the total decay of each setting (columns), zero where another measured it."""
    loggers = sorted({setting.logger_id for setting in settings if setting.logger_id is not None})
    of_setting = [[s.linearity_per_h if s.logger_id == logger else 0.0 for s in settings] for logger in loggers]
    return np.array(of_setting, dtype=np.float64).reshape(len(loggers), len(settings))


def rank_by_measured(
    quantities: Mapping[int, Measured],
    *,
    lowest_first: bool = False,
    not_measurable: Sequence[int] = (),
    shared: Mapping[int, tuple[Hashable, float]] | None = None,
    pooled_spread: Collection[int] = (),
) -> RankTable:
    """Order by any quantity measured for each unit: total decay, sound, power, cost.

    shared : key to a shared error source such as a meter: its name and standard uncertainty,
    not included in `quantities`; drawn once for each name
    pooled_spread : keys whose uncertainties come from one spread (`SettingInRoom`)
    not_measurable : keys of units without a rankable value, such as a clear level that was not reached
    Raises ValueError where a key is in both.

    >>> table = rank_by_measured({1: Measured(40.0, 1.0), 2: Measured(41.0, 1.0), 3: Measured(60.0, 1.0)},
    ...                          lowest_first=True)
    >>> [(row.key, row.rank_low_95, row.rank_high_95) for row in table.rows], table.groups
    ([(1, 1, 2), (2, 1, 2), (3, 3, 3)], ((1, 2),))
    """
    keys = sorted(quantities)
    columns = Columns.of([quantities[key] for key in keys], [key in pooled_spread for key in keys])
    sign = -1.0 if lowest_first else 1.0
    common = shared or {}
    sources = list(dict.fromkeys(name for name, _ in common.values()))
    of_source = np.zeros((len(sources), len(keys)))
    for key, (name, uncertainty) in common.items():
        of_source[sources.index(name), keys.index(key)] = uncertainty
    parts = [((row[:, None] - row[None, :]) ** 2, np.asarray(np.inf)) for row in of_source]

    def draw(random: np.random.Generator) -> Floats:
        drawn: Floats = sign * (columns.draw(random) + random.standard_normal((DRAWS, len(sources))) @ of_source)
        return drawn

    return _table(keys, sign * columns.value, _pairs(sign * columns.value, columns, parts), draw, not_measurable)


def _pairs(values: Floats, own: Columns, shared: Sequence[tuple[Floats, Floats]]) -> Differences:
    """Each pair with the standard error of its difference; shared errors cancel.

    values : of the quantity; own : its independent part
    shared : variance of the difference of each pair from a common source, and its degrees of freedom
    """
    own_variance = own.uncertainty**2
    per_degree = own_variance**2 / own.degrees
    variance = own_variance[:, None] + own_variance[None, :]
    fourth_power = per_degree[:, None] + per_degree[None, :]
    both = own.pooled[:, None] & own.pooled[None, :]  # as in `common_component`
    fourth_power += np.where(both, 2 * np.sqrt(per_degree[:, None] * per_degree[None, :]), 0.0)
    for of_difference, degrees in shared:
        variance += of_difference
        fourth_power += of_difference**2 / degrees
    # Welch and Satterthwaite
    degrees = np.divide(variance**2, fourth_power, out=np.full_like(variance, np.inf), where=fourth_power > 0)
    return Differences(values[:, None] - values[None, :], np.sqrt(variance), degrees)


def _table(
    keys: Sequence[int],
    highest_first: Floats,
    pairs: Differences,
    draw: Callable[[np.random.Generator], Floats],
    not_measurable: Sequence[int],
) -> RankTable:
    both = set(keys) & set(not_measurable)
    if both:
        raise ValueError(f"Units {sorted(both)} are given as measured and as not measurable; each can be only one.")
    number = len(keys)
    order = np.argsort(-highest_first, kind="stable")
    apart = told_apart_jointly(
        pairs.in_order(order), lambda: (draw(np.random.default_rng(SEED)) - highest_first)[:, order]
    )
    better = np.tril(apart).sum(axis=1)  # number of significantly better units, and of worse ones
    worse = np.triu(apart).sum(axis=1)
    place = {keys[index]: position for position, index in enumerate(order)}
    rows = [
        RankRow(
            key=keys[index],
            place=position + 1,
            rank_low_95=int(better[position]) + 1,
            rank_high_95=number - int(worse[position]),
            not_told_apart_from=number - 1 - int(better[position]) - int(worse[position]),
        )
        for position, index in enumerate(order)
    ]
    last = number + len(not_measurable)
    rows += [RankRow(key, None, number + 1, last, 0) for key in sorted(not_measurable)]
    alike = ~apart
    groups = tuple(tuple(row.key for row in rows[start:end]) for start, end in _runs_of_alike(alike))
    return RankTable(tuple(rows), groups, place, alike)


def _runs_of_alike(alike: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """Longest runs [start, end) of two or more neighbours that are all ties; none lies inside another."""
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
