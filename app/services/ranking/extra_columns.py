"""Optional columns of the ranking, read only if a reader selects them."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.compute.clean_air.efficiency import FederalEnergy, clean_air_per_watt, federal_energy
from app.compute.clean_air.ozone import ozone_finding
from app.compute.cost_and_energy.cost_of_clean_air import cost_per_1000_m3_of_clean_air
from app.compute.statistics.measured import Measured
from app.services.costs.owned_units import rate_of
from app.services.ranking.rows import RankedSetting
from app.storage.models.bench_measurements import OzoneTest, PowerMeasurement
from app.storage.models.ratings_and_claims import Rating
from app.storage.models.units_under_test import SpeedSetting

NOT_LISTED = "looked for and not listed"


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


def extra_facts(session: Session, lines: Sequence[RankedSetting]) -> list[ExtraFacts]:
    """One entry per line, in order, in three queries."""
    units = {line.row.unit_id for line in lines}
    smoke, dust = _own_ratings(session, units, "smoke"), _own_ratings(session, units, "dust")
    ozone = _highest_ozone(session, units)
    highest_w = _power_at_highest(session, units)
    return [
        _facts(
            line,
            smoke.get(line.row.unit_id),
            dust.get(line.row.unit_id),
            highest_w.get(line.row.unit_id),
            ozone.get(line.row.unit_id),
        )
        for line in lines
    ]


def sort_values(session: Session, lines: Sequence[RankedSetting], column: str) -> list[tuple[int, float]]:
    """Sort key of each line: known values first.

    An ozone value below detection sorts by its detection limit.
    """
    value_of = _SORTED_BY[column]
    values = [value_of(facts) for facts in extra_facts(session, lines)]
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


def _facts(
    line: RankedSetting,
    smoke: Rating | None,
    dust: Rating | None,
    highest_w: float | None,
    ozone: OzoneTest | None,
) -> ExtraFacts:
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
        return None, "No clean air rate that can be told from zero at this setting."
    power = line.row.power_w
    if not power:
        return None, "The power of this setting was not measured."
    return clean_air_per_watt(rate, Measured(power, line.row.power_uncertainty_w or 0.0)), ""


def _clean_air_cost(line: RankedSetting, rate: Measured | None) -> tuple[Measured | None, str]:
    if rate is None or line.cost is None:
        return None, "It needs a clean air rate that can be told from zero, and a price of electricity."
    if line.cost.at_least:
        return None, " ".join(("Only a lower bound.", *line.cost.missing))
    try:
        return cost_per_1000_m3_of_clean_air(line.cost, rate), ""
    except ValueError as error:
        return None, str(error)


def _certified(rating: Rating | None) -> CertifiedSmoke:
    if rating is None:
        return CertifiedSmoke(None, "No certified smoke rate of this unit was looked for yet.", "")
    day = rating.seen_on.isoformat()
    if not rating.listed:
        return CertifiedSmoke(None, f"On {day} {NOT_LISTED}.", day)
    return CertifiedSmoke(rating.clean_air_delivery_rate_m3_per_h, "", day)


def _federal(
    line: RankedSetting, smoke: Rating | None, dust: Rating | None, highest_w: float | None
) -> tuple[FederalEnergy | None, str]:
    rates = [r.clean_air_delivery_rate_m3_per_h if r is not None and r.listed else None for r in (smoke, dust)]
    if rates[0] is None or rates[1] is None:
        return None, "It needs certified smoke and dust rates of this unit."
    if not highest_w or line.row.standby_power_w is None:
        return None, "It needs the measured power at the highest setting and standing by."
    return federal_energy(rates[0], rates[1], highest_w, line.row.standby_power_w), ""


def _own_ratings(session: Session, units: set[int], aerosol: str) -> dict[int, Rating]:
    """The newest entry of each unit itself, never that of a sister model."""
    found: dict[int, Rating] = {}
    for rating in session.scalars(
        select(Rating)
        .where(Rating.unit_under_test_id.in_(units), Rating.aerosol == aerosol, Rating.sister_model == "")
        .order_by(Rating.seen_on, Rating.id)
    ):
        found[rating.unit_under_test_id] = rating
    return found


def _highest_ozone(session: Session, units: set[int]) -> dict[int, OzoneTest]:
    found: dict[int, OzoneTest] = {}
    for test in session.scalars(select(OzoneTest).where(OzoneTest.unit_under_test_id.in_(units))):
        there = found.get(test.unit_under_test_id)
        if there is None or _ozone_rank(test) > _ozone_rank(there):
            found[test.unit_under_test_id] = test
    return found


def _ozone_rank(test: OzoneTest) -> tuple[bool, float]:
    return not test.below_detection, test.ozone_ppb


def _power_at_highest(session: Session, units: set[int]) -> dict[int, float]:
    """Mean power at the setting marked as highest."""
    values: dict[int, list[float]] = {}
    for unit_id, power in session.execute(
        select(PowerMeasurement.unit_under_test_id, PowerMeasurement.power_w)
        .join(SpeedSetting, SpeedSetting.id == PowerMeasurement.setting_id)
        .where(PowerMeasurement.unit_under_test_id.in_(units), SpeedSetting.is_highest == True)  # noqa: E712  # PostgreSQL: a number, no truth
    ):
        values.setdefault(unit_id, []).append(power)
    return {unit_id: sum(found) / len(found) for unit_id, found in values.items()}
