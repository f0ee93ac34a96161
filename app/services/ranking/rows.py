"""All lines of a ranking: every unit at each requested setting, with sound and cost."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from operator import itemgetter
from typing import NamedTuple

from sqlalchemy.orm import Session

from app.compute.cost_and_energy.energy_use import RunningPart
from app.compute.cost_and_energy.running_cost import CostAssumptions, OwnedUnit, RunningCost, running_cost
from app.services.snapshot.choices import HIGHEST, AvailableRoom, Offered, RankingChoices, read_offered
from app.services.snapshot.consumable_parts import ConsumableRow, consumable_parts, read_consumable_rows
from app.services.snapshot.read_cache import kept, kept_by_unit
from app.services.snapshot.setting_rows import RankingRow, read_ranking_rows
from app.services.snapshot.setting_sound import SettingSound, read_setting_sounds


@dataclass(frozen=True, slots=True, eq=False)
class RankedSetting:
    """One line of the ranking. Lines compare by identity.

    sound : None if the unit has no setting
    cost : None without an electricity price
    """

    row: RankingRow
    sound: SettingSound | None
    cost: RunningCost | None

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


@dataclass(frozen=True, slots=True, eq=False)
class RankingTable:
    """The lines sorted by maker, model and setting, and the options of the bench. Compares by identity, like its
    lines.

    by_unit : lines of each unit, for the next read; empty if there is none
    """

    lines: tuple[RankedSetting, ...]
    offered: Offered
    by_unit: Mapping[int, "_NamedLines"] = field(default_factory=dict)


class _NamedLines(NamedTuple):
    """The lines of one unit, and its place among the others."""

    name: tuple[str, str, int]
    lines: tuple[RankedSetting, ...]


def table_key(choices: RankingChoices) -> tuple[object, ...]:
    """The choices that the table depends on; all others are applied to the table."""
    return (
        choices.channel,
        choices.aerosol,
        choices.room_id,
        choices.setting == HIGHEST,
        choices.price_per_kwh,
        choices.hours_per_day,
    )


def read_ranking_table(session: Session, choices: RankingChoices, before: RankingTable | None = None) -> RankingTable:
    """Raises InvalidValue for an unknown option.

    before : a table read earlier for the same choices; unchanged lines are reused, so that
            results cached for them stay valid
    """
    if before is None:
        return kept(session, ("ranking table", *table_key(choices)), lambda: _read_table(session, choices, {}))
    return _read_table(session, choices, before.by_unit)


def _read_table(session: Session, choices: RankingChoices, before: Mapping[int, _NamedLines]) -> RankingTable:
    """Cached by unit; after a change only the changed units are read again."""
    filled, offered = read_offered(session, choices)
    highest_only = filled.setting == HIGHEST

    def read(unit_ids: Collection[int] | None) -> Mapping[int, _NamedLines]:
        rows = read_ranking_rows(session, filled, offered.currency, highest_only=highest_only, unit_ids=unit_ids)
        found: dict[int, list[RankedSetting]] = {}
        for line in with_sound_and_cost(session, rows, offered, highest_only=highest_only, unit_ids=unit_ids):
            found.setdefault(line.row.unit_id, []).append(line)
        return {unit: _NamedLines(_name(lines[0]), tuple(lines)) for unit, lines in found.items()}

    key = ("ranking", filled.channel, filled.aerosol, filled.room_id, highest_only, offered.currency)
    terms = (offered.standard_distance_m, offered.sound_correction_rule, offered.hours_per_day, offered.assumptions())
    units = kept_by_unit(session, (*key, *terms), read)
    by_unit: Mapping[int, _NamedLines] = units
    if before:
        by_unit = {
            unit: found if before.get(unit) is found else _as_before(found, before.get(unit))
            for unit, found in units.items()
        }
    in_order = sorted(by_unit.values(), key=itemgetter(0))
    return RankingTable(tuple(line for unit in in_order for line in unit.lines), offered, by_unit)


def _name(line: RankedSetting) -> tuple[str, str, int]:
    return line.row.maker, line.row.model, line.row.unit_id


def _as_before(found: _NamedLines, before: _NamedLines | None) -> _NamedLines:
    """Reuses each unchanged line."""
    earlier = {line.row.setting_id: line for line in before.lines} if before else {}
    lines = tuple(_same_or_new(line, earlier.get(line.row.setting_id)) for line in found.lines)
    return found if lines == found.lines else _NamedLines(found.name, lines)


def _same_or_new(line: RankedSetting, earlier: RankedSetting | None) -> RankedSetting:
    if (
        earlier is line
        or earlier is None
        or earlier.row != line.row
        or earlier.sound != line.sound
        or earlier.cost != line.cost
    ):
        return line
    return earlier


@dataclass(frozen=True, slots=True)
class UnitLines:
    """The lines of one unit, one per setting, with their conditions."""

    lines: tuple[RankedSetting, ...]
    choices: RankingChoices
    offered: Offered
    room: AvailableRoom | None


def lines_of_unit(session: Session, unit_id: int, choices: RankingChoices | None = None) -> UnitLines:
    """Every setting of one unit as in the ranking, from the slowest; empty for an unknown unit."""
    filled, offered = read_offered(session, choices or RankingChoices())
    rows = read_ranking_rows(session, filled, offered.currency, unit_id=unit_id)
    lines = tuple(with_sound_and_cost(session, rows, offered, unit_id))
    return UnitLines(lines, filled, offered, offered.room(filled.room_id))


def with_sound_and_cost(
    session: Session,
    rows: Sequence[RankingRow],
    offered: Offered,
    unit_id: int = 0,
    *,
    highest_only: bool = False,
    unit_ids: Collection[int] | None = None,
) -> list[RankedSetting]:
    """The rows as ranking lines, with sound level and running cost.

    unit_id, highest_only, unit_ids : restrict the rows to this unit, to highest settings, to these units
    """
    sounds = read_setting_sounds(
        session,
        standard_distance_m=offered.standard_distance_m,
        rule=offered.sound_correction_rule,
        unit_id=unit_id,
        highest_only=highest_only,
        unit_ids=unit_ids,
    )
    consumables = read_consumable_rows(session, offered.currency, unit_id, unit_ids)
    assumptions = offered.assumptions()
    return [
        RankedSetting(
            row,
            None if row.setting_id is None else sounds.of(row.setting_id),
            None
            if assumptions is None
            else _cost(
                consumables.get(row.unit_id, ()),
                row.consumables_state,
                (row.power_w, row.power_uncertainty_w, row.standby_power_w, row.standby_power_uncertainty_w),
                offered.hours_per_day,
                assumptions,
            ),
        )
        for row in rows
    ]


@lru_cache(maxsize=8192)
def _cost(
    consumables: tuple[ConsumableRow, ...],
    consumables_state: str,
    powers: tuple[float | None, float | None, float | None, float | None],
    hours_per_day: float,
    assumptions: CostAssumptions,
) -> RunningCost:
    """Running cost, cached because it depends only on the stored values."""
    power, uncertainty, standby, standby_uncertainty = powers
    return running_cost(
        OwnedUnit(
            name="",
            parts=(RunningPart(hours_per_day, power, uncertainty or 0.0, "this setting"),),
            standby_power_w=standby,
            standby_power_uncertainty_w=standby_uncertainty or 0.0,
            consumables=consumable_parts(consumables, consumables_state, assumptions.currency),
        ),
        assumptions,
    )
