"""Claims of a maker, each compared with the measurements."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import cast

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.compute.clean_air.claim_quantities import QUANTITIES
from app.compute.clean_air.claims import Bound, ClaimCheck, Evidence, StatedClaim, check_claim
from app.compute.clean_air.ozone import ozone_uncertainty_ppb
from app.compute.statistics.measured import Measured
from app.errors import InvalidValue, NotFound
from app.services.measurements.definitions import NewClaim
from app.services.measurements.delete_entry import delete_entry
from app.services.measurements.measured_rates import SettingRate, rates_of_unit
from app.services.measurements.ozone_tests import UnitOzone, ozone_of_unit
from app.services.measurements.power_levels import SettingPower, power_levels_of_unit
from app.services.measurements.sound_levels import SettingLevel, sound_levels_of_unit
from app.services.store.audit import AT_THE_DESK, record_change
from app.services.store.entry_fields import checked_entry
from app.services.units.entry import SUBJECT, get_unit
from app.services.units.speed_settings import setting_of_unit, settings_of
from app.storage.models.ratings_and_claims import Claim
from app.storage.models.units_under_test import UnitUnderTest

_MASS_UNCERTAINTY_KG = 0.05  # a bathroom or parcel scale; common practice, no source


@dataclass(frozen=True, slots=True)
class CheckedClaim:
    """A claim with its verdict; `setting` is the one whose measurement decides, empty if none does."""

    claim: Claim
    check: ClaimCheck
    setting: str
    quantity_words: str


@dataclass(frozen=True, slots=True)
class MeasuredUnit:
    """All measurements of one unit, read once for all its claims."""

    unit: UnitUnderTest
    rates: tuple[SettingRate, ...]
    sounds: tuple[SettingLevel, ...]
    powers: tuple[SettingPower, ...]
    ozone: UnitOzone


def add_claim(session: Session, unit_id: int, new: NewClaim, *, who: str = AT_THE_DESK) -> int:
    """Adds a claim and returns its id; older ones are kept."""
    get_unit(session, unit_id)
    values = checked_entry(new)
    if values["value"] is not None:
        try:
            QUANTITIES[new.quantity].in_own_unit(values["value"], new.unit_symbol)
        except ValueError as error:
            raise InvalidValue(str(error), field="claim_unit") from None
    if new.setting_id is not None:
        setting_of_unit(session, unit_id, new.setting_id)
    values["wording"] = " ".join(values["wording"].split())
    row = Claim(unit_under_test_id=unit_id, **values)
    session.add(row)
    session.flush()
    record_change(session, who, "added", SUBJECT, unit_id, "claim", None, _words(row))
    return row.id


def delete_claim(session: Session, claim_id: int, *, who: str = AT_THE_DESK, why: str) -> None:
    """Deletes an entry; the record of changes keeps its content."""
    row = session.get(Claim, claim_id)
    if row is None:
        raise NotFound("claim", claim_id)
    delete_entry(session, row, "claim", _words(row), who=who, why=why)


def measured_unit(session: Session, unit_id: int) -> MeasuredUnit:
    settings = settings_of(session, unit_id)
    return MeasuredUnit(
        get_unit(session, unit_id),
        rates_of_unit(session, unit_id),
        sound_levels_of_unit(session, unit_id, settings),
        power_levels_of_unit(session, unit_id, settings),
        ozone_of_unit(session, unit_id),
    )


def claims_of_unit(session: Session, unit_id: int, measured: MeasuredUnit | None = None) -> tuple[CheckedClaim, ...]:
    """All claims of a unit, oldest first, each with its verdict. `measured` is read if it is not given."""
    facts = measured or measured_unit(session, unit_id)
    rows = session.scalars(select(Claim).where(Claim.unit_under_test_id == unit_id).order_by(Claim.seen_on, Claim.id))
    return tuple(_checked(row, facts) for row in rows)


def _checked(row: Claim, facts: MeasuredUnit) -> CheckedClaim:
    evidence, setting = _EVIDENCE.get(row.quantity, _none)(row, facts)
    stated = StatedClaim(
        row.quantity,
        row.value,
        row.unit_symbol,
        cast(Bound, row.bound),
        row.aerosol,
        row.distance_m,
        row.room_area_m2,
    )
    return CheckedClaim(row, check_claim(stated, evidence), setting, QUANTITIES[row.quantity].words)


_Found = tuple[Evidence | None, str]


def _none(_row: Claim, _facts: MeasuredUnit) -> _Found:
    return None, ""


def _rate(row: Claim, facts: MeasuredUnit) -> _Found:
    """The rate of the named setting, else of the highest; of the named aerosol, else smoke first."""
    wanted = row.aerosol or "smoke"
    fitting = [r for r in facts.rates if r.setting_id == row.setting_id or row.setting_id is None]
    best = min(fitting, key=lambda r: (r.aerosol != wanted, not r.at_highest_setting, -r.position), default=None)
    if best is None:
        return None, ""
    if best.rate is None:
        return None, best.setting
    if not best.measurable:
        return Evidence(None, best.at_most_m3_per_h, None, best.aerosol), best.setting
    return Evidence(best.rate, None, None, best.aerosol), best.setting


def _sound(row: Claim, facts: MeasuredUnit) -> _Found:
    """The level of the named setting; else of the quietest for "at most" and "about", since makers state their best
    value.
    """
    measured = [s for s in facts.sounds if s.level is not None]
    fitting = [s for s in measured if s.setting.id == row.setting_id or row.setting_id is None]
    best = min(fitting, key=lambda s: s.level.level_dba.value if s.level else 0.0, default=None)
    if best is None or best.level is None:
        return None, ""
    level = best.level
    if level.upper_bound:
        return Evidence(None, level.level_dba.value, level.distance_m, "", level.estimate), best.setting.name
    return Evidence(level.level_dba, None, level.distance_m, "", level.estimate), best.setting.name


def _power(row: Claim, facts: MeasuredUnit) -> _Found:
    """The power of the named setting; else of the fastest measured one."""
    measured = [p for p in facts.powers if p.power is not None and p.setting is not None]
    fitting = [p for p in measured if p.setting and (p.setting.id == row.setting_id or row.setting_id is None)]
    return (Evidence(fitting[-1].power), fitting[-1].name) if fitting else (None, "")


def _standby(_row: Claim, facts: MeasuredUnit) -> _Found:
    standby = facts.powers[-1]
    return (None, "") if standby.power is None else (Evidence(standby.power), standby.name)


def _ozone(_row: Claim, facts: MeasuredUnit) -> _Found:
    finding = facts.ozone.finding
    if finding.ozone_ppb is None:
        return None, ""
    if finding.below_detection:
        return Evidence(None, finding.ozone_ppb), ""
    return Evidence(Measured(finding.ozone_ppb, ozone_uncertainty_ppb(finding.ozone_ppb))), ""


def _mass(_row: Claim, facts: MeasuredUnit) -> _Found:
    mass = facts.unit.mass_kg
    return (None, "") if mass is None else (Evidence(Measured(mass, _MASS_UNCERTAINTY_KG)), "")


_EVIDENCE: dict[str, Callable[[Claim, MeasuredUnit], _Found]] = {
    "clean_air_delivery_rate": _rate,
    "room_area": _rate,
    "air_changes": _rate,
    "air_change_time": _rate,
    "sound_level": _sound,
    "power": _power,
    "standby_power": _standby,
    "ozone": _ozone,
    "mass": _mass,
}


def _words(row: Claim) -> str:
    what = "no number" if row.value is None else f"{row.bound} {row.value:g} {row.unit_symbol}"
    return f"{QUANTITIES[row.quantity].words}, {what}: “{row.wording}”, seen on {row.seen_on.isoformat()}"
