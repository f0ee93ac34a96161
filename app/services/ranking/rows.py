"""All lines of a ranking: every unit at each requested setting, with sound and cost."""

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property
from operator import itemgetter
from typing import Generic, NamedTuple, TypeVar

from app.compute.cost_and_energy.energy_use import RunningPart
from app.compute.cost_and_energy.running_cost import CostAssumptions, OwnedUnit, RunningCost, running_cost
from app.services.results.control_charts.key import ChartKey
from app.services.snapshot.bench_snapshot import BenchSnapshot
from app.services.snapshot.choices import EVERY, HIGHEST, AvailableRoom, Offered, RankingChoices, read_offered
from app.services.snapshot.room_shifts import RoomShift, room_shifts, straddled_shift
from app.services.snapshot.setting_rows import IndexRow, RankingRow
from app.services.snapshot.setting_sound import SettingSound
from app.services.snapshot.stored_units import (
    Conditions,
    StoredUnit,
    conditions_of,
    index_rows,
    some_stored_units,
    stored_unit,
    stored_units,
)


class _Terms(NamedTuple):
    """What the lines of a unit depend on besides the unit."""

    conditions: Conditions
    hours_per_day: float
    assumptions: CostAssumptions | None
    shifts: tuple[RoomShift, ...]


@dataclass(frozen=True, eq=False)
class RankedSetting:
    """One line of the ranking. Its sound and cost are computed when they are asked for, which is for the lines of a
    page, and for all lines only where they are sorted or filtered by them.
    """

    row: RankingRow
    unit: StoredUnit
    terms: _Terms

    @property
    def sound(self) -> SettingSound | None:
        """None if the unit has no setting."""
        return self.unit.sound_of(self.row)

    @cached_property
    def cost(self) -> RunningCost | None:
        """None without an electricity price."""
        return _cost(self.unit, self.row, self.terms)

    @property
    def shift(self) -> RoomShift | None:
        """A shift of the room between its trials, None if there was none."""
        return straddled_shift(self.terms.shifts, self.row.first_trial_on, self.row.latest_trial_on)

    @property
    def has_rate(self) -> bool:
        """Whether there is a rate distinguishable from zero; only such rates are ranked."""
        return self.row.clean_air_delivery_rate_m3_per_h is not None and self.row.measurable == 1

    @property
    def time_lies_beyond_min(self) -> float | None:
        """Length of the runs if the room did not clear and the time to 95 % reduction is longer [min].

        Such a time was not observed but computed from the fitted rate, and is shown as an estimate. Else None.
        """
        end, time = self.row.not_cleared_before_min, self.row.standard_clearing_time_min
        if self.row.time_to_clear_min is not None or end is None or time is None or time <= end:
            return None
        return end


class IndexedSetting(NamedTuple):
    """A line as far as the order of lines follows from it; `ranked_settings` gives the whole line."""

    row: IndexRow

    @property
    def has_rate(self) -> bool:
        return self.row.clean_air_delivery_rate_m3_per_h is not None and self.row.measurable == 1


Line = TypeVar("Line", RankedSetting, IndexedSetting)


@dataclass(frozen=True, slots=True)
class RankingTable(Generic[Line]):
    """The lines sorted by maker, model and setting, and the options of the bench."""

    lines: tuple[Line, ...]
    offered: Offered


@dataclass(frozen=True, slots=True)
class UnitLines:
    """The lines of one unit, one per setting, with their conditions."""

    lines: tuple[RankedSetting, ...]
    choices: RankingChoices
    offered: Offered
    room: AvailableRoom | None


class _NamedLines(NamedTuple, Generic[Line]):
    """The lines of one unit, and its place among the others."""

    name: tuple[str, str, int]
    lines: tuple[Line, ...]


def read_ranking_table(snapshot: BenchSnapshot, choices: RankingChoices) -> RankingTable[RankedSetting]:
    """Raises InvalidValue for an unknown option."""
    return snapshot.view(_table, _of_table(choices))


def read_ranking_index(snapshot: BenchSnapshot, choices: RankingChoices) -> RankingTable[IndexedSetting]:
    """The same lines, as far as their order follows from them."""
    return snapshot.view(_index, _of_table(choices))


def ranked_settings(
    snapshot: BenchSnapshot, choices: RankingChoices, lines: Collection[IndexedSetting]
) -> Mapping[tuple[int, int | None], RankedSetting]:
    """The whole of some lines, by unit and setting."""
    filled, offered = read_offered(snapshot, _of_table(choices))
    units = list(dict.fromkeys(line.row.unit_id for line in lines))
    found = snapshot.some_units(_lines_of_units, _terms(snapshot, filled, offered), units)
    return {(line.row.unit_id, line.row.setting_id): line for unit in found.values() for line in unit.lines}


def _of_table(choices: RankingChoices) -> RankingChoices:
    """The choices that a table is read for; all others are applied to it."""
    return RankingChoices(
        channel=choices.channel,
        aerosol=choices.aerosol,
        room_id=choices.room_id,
        setting=HIGHEST if choices.setting == HIGHEST else EVERY,
        price_per_kwh=choices.price_per_kwh,
        hours_per_day=choices.hours_per_day,
    )


def _table(snapshot: BenchSnapshot, choices: RankingChoices) -> RankingTable[RankedSetting]:
    filled, offered = read_offered(snapshot, choices)
    units = snapshot.by_unit(_lines_of_units, _terms(snapshot, filled, offered))
    return RankingTable(_in_order(units.values()), offered)


def _index(snapshot: BenchSnapshot, choices: RankingChoices) -> RankingTable[IndexedSetting]:
    filled, offered = read_offered(snapshot, choices)
    units = snapshot.by_unit(_index_of_units, conditions_of(filled, offered))
    return RankingTable(_in_order(units.values()), offered)


def _in_order(units: Iterable[_NamedLines[Line]]) -> tuple[Line, ...]:
    return tuple([line for unit in sorted(units, key=itemgetter(0)) for line in unit.lines])


def _index_of_units(
    snapshot: BenchSnapshot, conditions: Conditions, unit_ids: Collection[int] | None
) -> Mapping[int, _NamedLines[IndexedSetting]]:
    units = index_rows(snapshot, conditions, unit_ids)
    return {
        unit_id: _NamedLines((rows[0].maker, rows[0].model, unit_id), tuple(map(IndexedSetting, rows)))
        for unit_id, rows in units.items()
    }


def _terms(snapshot: BenchSnapshot, filled: RankingChoices, offered: Offered) -> _Terms:
    shifts: tuple[RoomShift, ...] = ()
    if filled.room_id is not None:
        shifts = room_shifts(snapshot, ChartKey(filled.room_id, filled.channel, filled.aerosol))
    return _Terms(conditions_of(filled, offered), offered.hours_per_day, offered.assumptions(), shifts)


def _lines_of_units(
    snapshot: BenchSnapshot, terms: _Terms, unit_ids: Collection[int] | None
) -> Mapping[int, _NamedLines[RankedSetting]]:
    if unit_ids is None:
        units = stored_units(snapshot, terms.conditions)
    else:
        units = some_stored_units(snapshot, terms.conditions, unit_ids)
    return {
        unit_id: _NamedLines((unit.rows[0].maker, unit.rows[0].model, unit_id), _lines(unit, terms))
        for unit_id, unit in units.items()
    }


def lines_of_unit(snapshot: BenchSnapshot, unit_id: int, choices: RankingChoices | None = None) -> UnitLines:
    """Every setting of one unit as in the ranking, from the slowest; empty for an unknown unit."""
    filled, offered = read_offered(snapshot, choices or RankingChoices())
    terms = _terms(snapshot, filled, offered)
    unit = stored_unit(snapshot, unit_id, terms.conditions)
    return UnitLines(() if unit is None else _lines(unit, terms), filled, offered, offered.room(filled.room_id))


def _lines(unit: StoredUnit, terms: _Terms) -> tuple[RankedSetting, ...]:
    return tuple([RankedSetting(row, unit, terms) for row in unit.rows])


def _cost(unit: StoredUnit, row: RankingRow, terms: _Terms) -> RunningCost | None:
    if terms.assumptions is None:
        return None
    return running_cost(
        OwnedUnit(
            name="",
            parts=(RunningPart(terms.hours_per_day, row.power_w, row.power_uncertainty_w or 0.0, "this setting"),),
            standby_power_w=row.standby_power_w,
            standby_power_uncertainty_w=row.standby_power_uncertainty_w or 0.0,
            consumables=unit.consumables,
        ),
        terms.assumptions,
    )
