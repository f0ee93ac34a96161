"""Optional columns of the ranking, read only if a reader selects them."""

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any, NamedTuple, TypeVar

from sqlalchemy import Connection, Select, func, select

from app.compute.clean_air.efficiency import FederalEnergy, clean_air_per_watt, federal_energy
from app.compute.clean_air.ozone import ozone_finding
from app.compute.cost_and_energy.cost_of_clean_air import cost_per_1000_m3_of_clean_air
from app.compute.statistics.measured import Measured
from app.services.costs.owned_units import rate_of
from app.services.ranking.rows import RankedSetting
from app.services.snapshot.bench_snapshot import BenchSnapshot
from app.storage.models.bench_measurements import OzoneTest, PowerMeasurement
from app.storage.models.ratings_and_claims import Rating
from app.storage.models.units_under_test import SpeedSetting

_Query = TypeVar("_Query", bound=Select[*tuple[Any, ...]])
NOT_LISTED = "searched for, not listed"


@dataclass(frozen=True, slots=True)
class CertifiedSmoke:
    """The newest certified smoke rate of the unit itself [m³/h]; None with the reason."""

    rate_m3_per_h: float | None
    why_not: str
    seen_on: str


@dataclass(frozen=True, slots=True)
class ExtraFacts:
    """Optional quantities of one line; a missing one is None, with a sentence why."""

    per_watt: Measured | None
    why_no_per_watt: str
    clean_air_cost: Measured | None
    why_no_clean_air_cost: str
    certified_smoke: CertifiedSmoke
    federal: FederalEnergy | None
    why_no_federal: str
    ozone_text: str
    ozone_ppb: float | None
    ozone_less_than_ppb: float | None


class _Rated(NamedTuple):
    """The newest entry of a unit for one aerosol."""

    listed: bool
    clean_air_delivery_rate_m3_per_h: float | None
    seen_on: date


class _Ozone(NamedTuple):
    ozone_ppb: float
    below_detection: bool


class _OfUnit(NamedTuple):
    """Source data of the optional columns besides the line; None if not recorded."""

    smoke: _Rated | None
    dust: _Rated | None
    highest_w: float | None
    ozone: _Ozone | None


_NOTHING = _OfUnit(None, None, None, None)


def extra_facts(snapshot: BenchSnapshot, lines: Sequence[RankedSetting]) -> list[ExtraFacts]:
    """One entry per line, in order."""
    units = snapshot.by_unit(_of_units, None)
    return [_facts(line, units.get(line.row.unit_id, _NOTHING)) for line in lines]


def _of_units(snapshot: BenchSnapshot, _: None, unit_ids: Collection[int] | None) -> dict[int, _OfUnit]:
    connection = snapshot.session.connection()
    smoke, dust = _own_ratings(connection, unit_ids, "smoke"), _own_ratings(connection, unit_ids, "dust")
    ozone, highest_w = _highest_ozone(connection, unit_ids), _power_at_highest(connection, unit_ids)
    return {
        unit_id: _OfUnit(smoke.get(unit_id), dust.get(unit_id), highest_w.get(unit_id), ozone.get(unit_id))
        for unit_id in {**smoke, **dust, **ozone, **highest_w}
    }


def sort_values(snapshot: BenchSnapshot, lines: Sequence[RankedSetting], column: str) -> list[tuple[int, float]]:
    """Sort key of each line: known values first.

    An ozone value below detection sorts by its detection limit.
    """
    value_of = _SORTED_BY[column]
    values = [value_of(facts) for facts in extra_facts(snapshot, lines)]
    return [(2, 0.0) if value is None else (0, value) for value in values]


def _ozone_at_most(facts: ExtraFacts) -> float | None:
    return facts.ozone_less_than_ppb if facts.ozone_ppb is None else facts.ozone_ppb


_SORTED_BY: dict[str, Callable[[ExtraFacts], float | None]] = {
    "clean_air_per_watt": lambda facts: facts.per_watt.value if facts.per_watt else None,
    "clean_air_cost": lambda facts: facts.clean_air_cost.value if facts.clean_air_cost else None,
    "certified_smoke": lambda facts: facts.certified_smoke.rate_m3_per_h,
    "federal_energy_factor": lambda facts: facts.federal.integrated_energy_factor_cfm_per_w if facts.federal else None,
    "ozone": _ozone_at_most,
}


def _facts(line: RankedSetting, unit: _OfUnit) -> ExtraFacts:
    smoke, dust, highest_w, ozone = unit
    rate = rate_of(line.row)
    per_watt, why_no_per_watt = _per_watt(line, rate)
    cost, why_no_cost = _clean_air_cost(line, rate)
    federal, why_no_federal = _federal(line, smoke, dust, highest_w)
    finding = ozone_finding(
        bool(line.row.makes_ozone),
        None if ozone is None else ozone.ozone_ppb,
        below_detection=ozone is not None and ozone.below_detection,
    )
    return ExtraFacts(
        per_watt,
        why_no_per_watt,
        cost,
        why_no_cost,
        _certified(smoke),
        federal,
        why_no_federal,
        finding.sentence,
        finding.ozone_ppb if not finding.below_detection else None,
        finding.ozone_ppb if finding.below_detection else None,
    )


def _per_watt(line: RankedSetting, rate: Measured | None) -> tuple[Measured | None, str]:
    if rate is None:
        return None, "No clean air rate that can be distinguished from zero at this setting."
    power = line.row.power_w
    if not power:
        return None, "The power of this setting was not measured."
    return clean_air_per_watt(rate, Measured(power, line.row.power_uncertainty_w or 0.0)), ""


def _clean_air_cost(line: RankedSetting, rate: Measured | None) -> tuple[Measured | None, str]:
    if rate is None or line.cost is None:
        return None, "Needs a clean air rate that can be distinguished from zero, and an electricity price."
    if line.cost.at_least:
        return None, " ".join(("Lower bound only.", *line.cost.missing))
    try:
        return cost_per_1000_m3_of_clean_air(line.cost, rate), ""
    except ValueError as error:
        return None, str(error)


def _certified(rating: _Rated | None) -> CertifiedSmoke:
    if rating is None:
        return CertifiedSmoke(None, "No certified smoke rate recorded for this unit.", "")
    day = rating.seen_on.isoformat()
    if not rating.listed:
        return CertifiedSmoke(None, f"On {day} {NOT_LISTED}.", day)
    return CertifiedSmoke(rating.clean_air_delivery_rate_m3_per_h, "", day)


def _federal(
    line: RankedSetting, smoke: _Rated | None, dust: _Rated | None, highest_w: float | None
) -> tuple[FederalEnergy | None, str]:
    rates = [r.clean_air_delivery_rate_m3_per_h if r is not None and r.listed else None for r in (smoke, dust)]
    if rates[0] is None or rates[1] is None:
        return None, "Needs certified smoke and dust rates of this unit."
    if not highest_w or line.row.standby_power_w is None:
        return None, "Needs the measured power at the highest setting and in standby."
    return federal_energy(rates[0], rates[1], highest_w, line.row.standby_power_w), ""


def _own_ratings(connection: Connection, unit_ids: Collection[int] | None, aerosol: str) -> dict[int, _Rated]:
    """The newest entry of each unit itself, never that of a sister model."""
    query = (
        select(Rating.unit_under_test_id, Rating.listed, Rating.clean_air_delivery_rate_m3_per_h, Rating.seen_on)
        .where(Rating.aerosol == aerosol, Rating.sister_model == "")
        .order_by(Rating.seen_on, Rating.id)
    )
    rows = connection.execute(_of_some(query, Rating.unit_under_test_id, unit_ids))
    return {row[0]: _Rated(*row[1:]) for row in rows}  # the last of each unit stays


def _highest_ozone(connection: Connection, unit_ids: Collection[int] | None) -> dict[int, _Ozone]:
    query = select(OzoneTest.unit_under_test_id, OzoneTest.ozone_ppb, OzoneTest.below_detection)
    found: dict[int, _Ozone] = {}
    for unit_id, ppb, below in connection.execute(_of_some(query, OzoneTest.unit_under_test_id, unit_ids)):
        ozone = _Ozone(ppb, below)
        if unit_id not in found or _ozone_rank(ozone) > _ozone_rank(found[unit_id]):
            found[unit_id] = ozone
    return found


def _ozone_rank(test: _Ozone) -> tuple[bool, float]:
    return not test.below_detection, test.ozone_ppb


def _power_at_highest(connection: Connection, unit_ids: Collection[int] | None) -> dict[int, float]:
    """Mean power at the setting marked as highest."""
    query = (
        select(PowerMeasurement.unit_under_test_id, func.avg(PowerMeasurement.power_w))
        .join(SpeedSetting, SpeedSetting.id == PowerMeasurement.setting_id)
        .where(SpeedSetting.is_highest == True)  # noqa: E712  # PostgreSQL: a number, no truth
        .group_by(PowerMeasurement.unit_under_test_id)
    )
    rows = connection.execute(_of_some(query, PowerMeasurement.unit_under_test_id, unit_ids))
    return dict(rows.all())


def _of_some(query: _Query, unit: Any, unit_ids: Collection[int] | None) -> _Query:
    return query if unit_ids is None else query.where(unit.in_(unit_ids))
