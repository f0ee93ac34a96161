"""Two different efficiencies of a unit: clean air per watt at test power, and the US federal energy factor."""

from dataclasses import dataclass

from app.compute.clean_air.efficiency import FederalEnergy, clean_air_per_watt, federal_energy
from app.compute.statistics.measured import Measured
from app.services.measurements.measured_rates import SettingRate
from app.services.measurements.power_levels import SettingPower
from app.services.measurements.ratings import RatingWithComparison, own_rate_m3_per_h


@dataclass(frozen=True, slots=True)
class SettingEfficiency:
    """Clean air per watt of one setting and aerosol [(m³/h)/W], or a sentence why there is none."""

    setting: str
    aerosol: str
    per_watt: Measured | None
    why_not: str


@dataclass(frozen=True, slots=True)
class UnitEfficiency:
    """Both efficiencies of a unit. `federal` uses certified smoke and dust rates, and power measured here."""

    settings: tuple[SettingEfficiency, ...]
    federal: FederalEnergy | None
    why_no_federal: str


def unit_efficiency(
    rates: tuple[SettingRate, ...],
    powers: tuple[SettingPower, ...],
    ratings: tuple[RatingWithComparison, ...],
) -> UnitEfficiency:
    """Efficiencies of a unit from its rates, its power by setting and on standby, and its ratings."""
    watts = {power.setting.id: power.power for power in powers if power.setting is not None}
    settings = tuple(_of_setting(rate, watts.get(rate.setting_id)) for rate in rates)
    federal, why_not = _federal(rates, powers, ratings)
    return UnitEfficiency(settings, federal, why_not)


def _of_setting(rate: SettingRate, power: Measured | None) -> SettingEfficiency:
    if rate.rate is None:
        return SettingEfficiency(rate.setting, rate.aerosol, None, "No clean air rate at this setting.")
    if not rate.measurable:
        why = "No measurable cleaning at this setting, so no clean air per watt."
        return SettingEfficiency(rate.setting, rate.aerosol, None, why)
    if power is None or not power.value > 0:
        return SettingEfficiency(rate.setting, rate.aerosol, None, "The power of this setting was not measured.")
    return SettingEfficiency(rate.setting, rate.aerosol, clean_air_per_watt(rate.rate, power), "")


def _federal(
    rates: tuple[SettingRate, ...], powers: tuple[SettingPower, ...], ratings: tuple[RatingWithComparison, ...]
) -> tuple[FederalEnergy | None, str]:
    smoke, dust = own_rate_m3_per_h(ratings, "smoke"), own_rate_m3_per_h(ratings, "dust")
    missing = [name for name, rate in (("smoke", smoke), ("dust", dust)) if rate is None]
    if smoke is None or dust is None:
        verb = "is" if len(missing) == 1 else "are"
        return None, f"Needs certified smoke and dust rates of this unit; {' and '.join(missing)} {verb} missing."
    highest = next((rate.setting_id for rate in rates if rate.at_highest_setting), None)
    running = [power for power in powers if power.setting is not None and power.power is not None]
    at_highest = [power for power in running if power.setting and power.setting.id == highest] or [
        power for power in running if power.setting and power.setting.is_highest
    ]
    standby = powers[-1].power if powers else None
    if not at_highest or standby is None:
        return None, "Needs the measured power at the highest setting and in standby."
    active = at_highest[0].power
    if active is None or not active.value > 0:
        return None, "The measured power at the highest setting is zero, so no factor can be given."
    return federal_energy(smoke, dust, active.value, standby.value), ""
