"""Rank intervals of the ranking's lines, and statistical ties."""

from collections.abc import Callable, Hashable, Mapping, Sequence
from dataclasses import dataclass, replace

from app.compute.comparison.rank_intervals import RankRow, RankTable, rank_by_clean_air, rank_by_measured
from app.compute.comparison.setting_in_room import SettingInRoom
from app.compute.statistics.measured import Measured
from app.compute.statistics.shared_parts import without_shared_part
from app.errors import InvalidValue
from app.services.measurements.comparable_sound import read_comparable_sound
from app.services.ranking.table import RankedSetting, Ranking, rank_units
from app.services.snapshot.bench_snapshot import BenchSnapshot
from app.services.snapshot.choices import MOST_ROWS, RankingChoices
from app.services.snapshot.settings_in_rooms import TestedSetting, read_tested_settings

CLEAN_AIR = "clean_air_delivery_rate"
CLEARING_TIME = "standard_clearing_time"
SOUND = "sound"
POWER = "power"
RUNNING_COST = "running_cost"
RANKED_BY = (CLEAN_AIR, CLEARING_TIME, SOUND, POWER, RUNNING_COST)


@dataclass(frozen=True, slots=True)
class LineRank:
    """One line of the ranking with its rank. `row.key` is the setting."""

    line: RankedSetting
    row: RankRow


@dataclass(frozen=True, slots=True)
class RankView:
    """The ranking's lines sorted by one quantity, with their rank intervals.

    by : one of `RANKED_BY`
    lines : measured ones first, then those not distinguishable from zero
    groups : runs of neighbours that are all statistical ties
    without_value : lines without that quantity
    names : setting id to a unique name
    """

    ranking: Ranking
    by: str
    lines: tuple[LineRank, ...]
    groups: tuple[tuple[LineRank, ...], ...]
    without_value: tuple[RankedSetting, ...]
    ranks: RankTable
    names: Mapping[int, str]

    @property
    def measured(self) -> tuple[LineRank, ...]:
        return tuple(line for line in self.lines if line.row.place is not None)

    @property
    def certain_ranks(self) -> int:
        """Number of measured lines with a single possible rank, simultaneously for all."""
        return sum(one.row.rank_low_95 == one.row.rank_high_95 for one in self.measured)


def rank_view(snapshot: BenchSnapshot, choices: RankingChoices | None = None, *, by: str = CLEAN_AIR) -> RankView:
    """Rank intervals of the lines that pass the filters of a ranking.

    by : the ranked quantity; for clean air and clearing time, shared errors cancel
    Raises InvalidValue for an unknown option, or a quantity without intervals.
    """
    if by not in RANKED_BY:
        raise InvalidValue(
            f"Cannot rank by {by!r}; choose a quantity with an interval: {', '.join(RANKED_BY)}.",
            field="by",
        )
    return snapshot.view(_rank_view, (replace(choices or RankingChoices(), limit=MOST_ROWS, offset=0), by))


def _rank_view(snapshot: BenchSnapshot, asked: tuple[RankingChoices, str]) -> RankView:
    choices, by = asked
    ranking = rank_units(snapshot, choices)
    lines = {line.row.setting_id: line for line in ranking.lines if line.row.setting_id is not None}
    chosen = ranking.choices
    tested = read_tested_settings(snapshot, chosen.channel, chosen.aerosol, chosen.room_id)
    ranks = _RANKINGS[by](snapshot, ranking, lines, {key: tested[key] for key in lines if key in tested})
    ranked = {row.key: LineRank(lines[row.key], row) for row in ranks.rows}
    return RankView(
        ranking=ranking,
        by=by,
        lines=tuple(ranked.values()),
        groups=tuple(tuple(ranked[key] for key in group) for group in ranks.groups),
        without_value=tuple(line for line in ranking.lines if line.row.setting_id not in ranked),
        ranks=ranks,
        names=names_of([one.line for one in ranked.values()]),
    )


_Lines = Mapping[int, RankedSetting]
_Tested = Mapping[int, TestedSetting]


def _by_clean_air(snapshot: BenchSnapshot, _ranking: Ranking, _: _Lines, tested: _Tested) -> RankTable:
    known = {key: setting for key, setting in tested.items() if setting.in_room is not None}
    return snapshot.of_values(
        _clean_air_ranks,
        tuple((key, s.in_room) for key, s in known.items() if s.measurable and s.in_room is not None),
        tuple(key for key, setting in known.items() if not setting.measurable),
    )


def _clean_air_ranks(settings: tuple[tuple[int, SettingInRoom], ...], idle: tuple[int, ...]) -> RankTable:
    """Cached by its arguments (`of_values`), because ranks are slow to compute and most changes do not affect them."""
    return rank_by_clean_air(dict(settings), idle)


def _by_clearing_time(snapshot: BenchSnapshot, _ranking: Ranking, _: _Lines, tested: _Tested) -> RankTable:
    """Ranks by total decay: the shortest time has the highest rate, and the rate has the better-behaved interval.

    A rate not distinguishable from the empty room's is not ranked either. The linearity of a logger is drawn once.
    """
    idle = [key for key, setting in tested.items() if setting.in_room is not None and not setting.measurable]
    rates = {key: s.total_decay for key, s in tested.items() if s.total_decay is not None and key not in idle}
    pooled = tuple(key for key in rates if tested[key].pooled_spread)
    with_logger = {key: tested[key] for key in rates if tested[key].logger_id is not None}
    own = tuple((key, without_shared_part(rate, tested[key].linearity_per_h)) for key, rate in rates.items())
    shared = tuple((key, (s.logger_id, s.linearity_per_h)) for key, s in with_logger.items())
    return snapshot.of_values(_measured_ranks, own, False, tuple(idle), shared, pooled)


def _by_sound(snapshot: BenchSnapshot, ranking: Ranking, lines: _Lines, _: _Tested) -> RankTable:
    """Quietest first; the error of a shared meter is drawn once. An upper bound has no rank, because the true level may
    be far lower.
    """
    sounds = read_comparable_sound(
        snapshot.session,
        list(lines),
        standard_distance_m=ranking.offered.standard_distance_m,
        rule=ranking.offered.sound_correction_rule,
    )
    known = {key: sound for key, sound in sounds.items() if not sound.level.upper_bound}
    of_one_meter = {key: sound.meter for key, sound in known.items() if sound.meter is not None}
    return snapshot.of_values(
        _measured_ranks,
        tuple((key, s.without_meter if key in of_one_meter else s.level.level_dba) for key, s in known.items()),
        True,
        (),
        tuple((key, (meter, known[key].of_meter_db)) for key, meter in of_one_meter.items()),
    )


def _by_power(snapshot: BenchSnapshot, _ranking: Ranking, lines: _Lines, _: _Tested) -> RankTable:
    powers = tuple(
        (key, Measured(line.row.power_w, line.row.power_uncertainty_w or 0.0))
        for key, line in lines.items()
        if line.row.power_w is not None
    )
    return snapshot.of_values(_measured_ranks, powers, True, ())


def _by_running_cost(snapshot: BenchSnapshot, _ranking: Ranking, lines: _Lines, _: _Tested) -> RankTable:
    """Costs that are only lower bounds come after those that are known."""
    costs = {key: line.cost for key, line in lines.items() if line.cost is not None}
    known = tuple(
        (key, Measured(c.total_per_year, c.uncertainty_per_year)) for key, c in costs.items() if not c.at_least
    )
    return snapshot.of_values(_measured_ranks, known, True, tuple(key for key, cost in costs.items() if cost.at_least))


def _measured_ranks(
    quantities: tuple[tuple[int, Measured], ...],
    lowest_first: bool,
    not_measurable: tuple[int, ...],
    shared: tuple[tuple[int, tuple[Hashable, float]], ...] = (),
    pooled_spread: tuple[int, ...] = (),
) -> RankTable:
    """Cached like `_clean_air_ranks`."""
    return rank_by_measured(
        dict(quantities),
        lowest_first=lowest_first,
        not_measurable=not_measurable,
        shared=dict(shared),
        pooled_spread=pooled_spread,
    )


_RANKINGS: dict[str, Callable[[BenchSnapshot, Ranking, _Lines, _Tested], RankTable]] = {
    CLEAN_AIR: _by_clean_air,
    CLEARING_TIME: _by_clearing_time,
    SOUND: _by_sound,
    POWER: _by_power,
    RUNNING_COST: _by_running_cost,
}


def names_of(lines: Sequence[RankedSetting]) -> dict[int, str]:
    """Setting id to a unique name: the model, with maker or setting where needed."""
    makers: dict[str, set[int]] = {}
    settings: dict[int, int] = {}
    for line in lines:
        makers.setdefault(line.row.model, set()).add(line.row.unit_id)
        settings[line.row.unit_id] = settings.get(line.row.unit_id, 0) + 1
    found = {}
    for line in lines:
        row = line.row
        name = row.model if len(makers[row.model]) == 1 else f"{row.maker} {row.model}"
        found[row.setting_id or 0] = name if settings[row.unit_id] == 1 else f"{name}, {row.setting}"
    return found
