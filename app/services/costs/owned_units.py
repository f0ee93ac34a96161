"""Units of the bench as input of the cost calculation, each at the requested setting."""

import math
from collections.abc import Collection
from dataclasses import dataclass

from sqlalchemy.orm import Session

from app.compute.clean_air.room_need import need_by_155_rule
from app.compute.cost_and_energy.energy_use import RunningPart
from app.compute.cost_and_energy.running_cost import OwnedUnit
from app.compute.statistics.measured import Measured
from app.services.costs.choices import FOR_THE_ROOM, HIGHEST, OwningTerms
from app.services.snapshot.choices import RankingChoices, read_offered
from app.services.snapshot.consumable_parts import ConsumableRow, consumable_parts, read_consumable_rows
from app.services.snapshot.setting_rows import RankingRow, read_ranking_rows
from app.services.snapshot.setting_sound import SettingSound, SettingSounds, read_setting_sounds

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


@dataclass(frozen=True, slots=True)
class OwnedUnits:
    """Units with a suitable setting, strongest first, and the others with the reason."""

    units: tuple[UnitAtSetting, ...]
    left_out: tuple[UnitLeftOut, ...]


def read_owned_units(
    session: Session, terms: OwningTerms, unit_id: int = 0, unit_ids: Collection[int] | None = None
) -> OwnedUnits:
    """Every unit outside the trash, or only `unit_ids`, or one unit even if trashed; each at the setting of the
    terms.
    """
    chosen, offered = read_offered(session, RankingChoices())
    rows = read_ranking_rows(session, chosen, terms.assumptions.currency, unit_id=unit_id, unit_ids=unit_ids)
    sounds = read_setting_sounds(
        session,
        standard_distance_m=offered.standard_distance_m,
        rule=offered.sound_correction_rule,
        unit_id=unit_id,
        unit_ids=unit_ids,
    )
    consumables = read_consumable_rows(session, terms.assumptions.currency, unit_id, unit_ids)
    by_unit: dict[int, list[RankingRow]] = {}
    for row in rows:
        by_unit.setdefault(row.unit_id, []).append(row)
    units: list[UnitAtSetting] = []
    left_out: list[UnitLeftOut] = []
    for unit_id, settings in by_unit.items():
        chosen_row = _chosen_setting(settings, sounds, terms)
        if chosen_row is None:
            name = f"{settings[0].maker} {settings[0].model}"
            left_out.append(UnitLeftOut(unit_id, name, "no setting with a measured sound level serves the room"))
            continue
        sound = None if chosen_row.setting_id is None else sounds.of(chosen_row.setting_id)
        quiet_row = _quietest(settings, sounds) if terms.choices.quiet_hours_per_day else chosen_row
        owned = _owned(chosen_row, quiet_row, consumables.get(unit_id, ()), terms)
        mean_rate = _mean_rate(rate_of(chosen_row), rate_of(quiet_row), terms)
        units.append(UnitAtSetting(chosen_row, sound, rate_of(chosen_row), mean_rate, owned))
    units.sort(key=lambda unit: (unit.rate is None, -(unit.rate.value if unit.rate else 0.0), unit.name))
    return OwnedUnits(tuple(units), tuple(left_out))


def rate_of(row: RankingRow) -> Measured | None:
    """The clean air rate of a row if it is distinguishable from zero; its uncertainty comes from the stored
    interval.
    """
    value, low = row.clean_air_delivery_rate_m3_per_h, row.clean_air_delivery_rate_low_95
    if value is None or row.measurable != 1:
        return None
    spread = row.clean_air_delivery_rate_uncertainty or 0.0
    return Measured(value, spread if low is None else max(0.0, value - low) / _COVERAGE_95)


def _chosen_setting(rows: list[RankingRow], sounds: SettingSounds, terms: OwningTerms) -> RankingRow | None:
    if terms.choices.setting == HIGHEST:
        return max(rows, key=lambda row: (row.is_highest or 0, row.position or 0))

    def level(row: RankingRow) -> float | None:
        return None if row.setting_id is None else sounds.of(row.setting_id).level_dba

    if terms.choices.setting == FOR_THE_ROOM:
        need = need_by_155_rule(terms.choices.room_area_m2 or 0.0, terms.choices.room_height_m).rate_m3_per_h
        serving = [row for row in rows if (rate := rate_of(row)) is not None and rate.value >= need]
        known = [row for row in serving if level(row) is not None]
        return min(known, key=lambda row: level(row) or 0.0, default=None)
    return _quietest(rows, sounds)


def _quietest(rows: list[RankingRow], sounds: SettingSounds) -> RankingRow:
    """The setting with the lowest measured level, else the slowest."""

    def key(row: RankingRow) -> tuple[bool, float, int]:
        level = None if row.setting_id is None else sounds.of(row.setting_id).level_dba
        return level is None, level or 0.0, row.position or 0

    return min(rows, key=key)


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


def _owned(
    row: RankingRow, quiet_row: RankingRow, consumables: tuple[ConsumableRow, ...], terms: OwningTerms
) -> OwnedUnit:
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
        name=f"{row.maker} {row.model}",
        parts=tuple(parts),
        standby_power_w=row.standby_power_w,
        standby_power_uncertainty_w=row.standby_power_uncertainty_w or 0.0,
        purchase_price=row.price if in_currency else None,
        price_missing_because=because,
        consumables=consumable_parts(consumables, row.consumables_state, currency),
    )
