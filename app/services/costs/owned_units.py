"""Units of the bench as input of the cost calculation, each at the requested setting."""

import math
from collections.abc import Collection
from dataclasses import dataclass
from typing import NamedTuple

from app.compute.clean_air.room_need import need_by_155_rule
from app.compute.cost_and_energy.energy_use import RunningPart
from app.compute.cost_and_energy.running_cost import OwnedUnit
from app.compute.statistics.measured import Measured
from app.services.costs.choices import FOR_THE_ROOM, HIGHEST, OwningTerms
from app.services.snapshot.bench_snapshot import BenchSnapshot
from app.services.snapshot.choices import EVERY, RankingChoices, read_offered
from app.services.snapshot.setting_rows import RankingRow
from app.services.snapshot.setting_sound import SettingSound
from app.services.snapshot.stored_units import Conditions, StoredUnit, conditions_of, stored_unit, stored_units

_COVERAGE_95 = 1.959963984540054


@dataclass(frozen=True, slots=True)
class UnitAtSetting:
    """A unit at one setting with the data for its cost.

    rate : of the setting; mean_rate : over all running hours of the day, including those at its quietest
            setting [m³/h]; None if one of the settings has no rate distinguishable from zero
    """

    row: RankingRow
    sound: SettingSound | None
    rate: Measured | None
    mean_rate: Measured | None
    owned: OwnedUnit

    @property
    def name(self) -> str:
        return f"{self.row.maker} {self.row.model}"


@dataclass(frozen=True, slots=True)
class UnitLeftOut:
    """A unit without a suitable setting, with the reason."""

    unit_id: int
    name: str
    why: str


class OwningConditions(NamedTuple):
    """The terms, and the conditions under which units are read."""

    terms: OwningTerms
    conditions: Conditions


def owning_conditions(snapshot: BenchSnapshot, terms: OwningTerms) -> OwningConditions:
    filled, offered = read_offered(snapshot, RankingChoices(setting=EVERY))
    return OwningConditions(terms, conditions_of(filled, offered, terms.assumptions.currency))


def owned_units(
    snapshot: BenchSnapshot, asked: OwningConditions, unit_ids: Collection[int] | None = None
) -> dict[int, UnitAtSetting | UnitLeftOut]:
    """Every unit outside the trash, or only `unit_ids`, by id, each at the setting of the terms; without a suitable
    setting it is left out.
    """
    units = stored_units(snapshot, asked.conditions)
    wanted = units.values() if unit_ids is None else [units[unit_id] for unit_id in unit_ids if unit_id in units]
    return {unit.id: _at_setting(unit, asked.terms) for unit in wanted}


def owned_unit(snapshot: BenchSnapshot, terms: OwningTerms, unit_id: int) -> UnitAtSetting | UnitLeftOut | None:
    """The same for one unit, even if trashed; None for an unknown unit."""
    unit = stored_unit(snapshot, unit_id, owning_conditions(snapshot, terms).conditions)
    return None if unit is None else _at_setting(unit, terms)


def _at_setting(unit: StoredUnit, terms: OwningTerms) -> UnitAtSetting | UnitLeftOut:
    row = _chosen_setting(unit, terms)
    if row is None:
        return UnitLeftOut(unit.id, unit.name, "no setting with a measured sound level is enough for the room")
    quiet_row = _quietest(unit) if terms.choices.quiet_hours_per_day else row
    return UnitAtSetting(
        row,
        unit.sound_of(row),
        rate_of(row),
        _mean_rate(rate_of(row), rate_of(quiet_row), terms),
        _owned(unit, row, quiet_row, terms),
    )


def rate_of(row: RankingRow) -> Measured | None:
    """The clean air rate of a row if it is distinguishable from zero; its uncertainty comes from the stored
    interval.
    """
    value, low = row.clean_air_delivery_rate_m3_per_h, row.clean_air_delivery_rate_low_95
    if value is None or row.measurable != 1:
        return None
    spread = row.clean_air_delivery_rate_uncertainty or 0.0
    return Measured(value, spread if low is None else max(0.0, value - low) / _COVERAGE_95)


def _chosen_setting(unit: StoredUnit, terms: OwningTerms) -> RankingRow | None:
    if terms.choices.setting == HIGHEST:
        return max(unit.rows, key=lambda row: (row.is_highest or 0, row.position or 0))
    if terms.choices.setting == FOR_THE_ROOM:
        need = need_by_155_rule(terms.choices.room_area_m2 or 0.0, terms.choices.room_height_m).rate_m3_per_h
        serving = [row for row in unit.rows if (rate := rate_of(row)) is not None and rate.value >= need]
        known = [row for row in serving if _level(unit, row) is not None]
        return min(known, key=lambda row: _level(unit, row) or 0.0, default=None)
    return _quietest(unit)


def _quietest(unit: StoredUnit) -> RankingRow:
    """The setting with the lowest measured level, else the slowest."""

    def key(row: RankingRow) -> tuple[bool, float, int]:
        level = _level(unit, row)
        return level is None, level or 0.0, row.position or 0

    return min(unit.rows, key=key)


def _level(unit: StoredUnit, row: RankingRow) -> float | None:
    sound = unit.sound_of(row)
    return None if sound is None else sound.level_dba


def _mean_rate(rate: Measured | None, quiet: Measured | None, terms: OwningTerms) -> Measured | None:
    """Rate over the hours at both settings, taken as independent."""
    hours, quiet_hours = terms.hours_per_day, terms.choices.quiet_hours_per_day
    if not quiet_hours:
        return rate
    if quiet is None or (rate is None and hours):
        return None
    parts = [(quiet, quiet_hours / (hours + quiet_hours))]
    if rate is not None:
        parts.append((rate, hours / (hours + quiet_hours)))
    uncertainty = math.hypot(*(share * one.uncertainty for one, share in parts))
    return Measured(sum(share * one.value for one, share in parts), uncertainty)


def _owned(unit: StoredUnit, row: RankingRow, quiet_row: RankingRow, terms: OwningTerms) -> OwnedUnit:
    currency = terms.assumptions.currency
    in_currency = row.price_currency == currency
    elsewhere = row.price is not None and not in_currency
    because = (
        f"The purchase price is in {row.price_currency}, not in {currency}"
        if elsewhere
        else "The purchase price is not recorded"
    )
    parts = [RunningPart(terms.hours_per_day, row.power_w, row.power_uncertainty_w or 0.0, row.setting or "")]
    if terms.choices.quiet_hours_per_day:
        quiet_w, quiet_uncertainty = quiet_row.power_w, quiet_row.power_uncertainty_w or 0.0
        parts.append(
            RunningPart(terms.choices.quiet_hours_per_day, quiet_w, quiet_uncertainty, quiet_row.setting or "")
        )
    return OwnedUnit(
        name=unit.name,
        parts=tuple(parts),
        standby_power_w=row.standby_power_w,
        standby_power_uncertainty_w=row.standby_power_uncertainty_w or 0.0,
        purchase_price=row.price if in_currency else None,
        price_missing_because=because,
        consumables=unit.consumables,
    )
