"""Electrical energy of a unit over a year, from its watts and hours at each setting."""

from dataclasses import dataclass
from typing import NamedTuple

HOURS_PER_YEAR = 8760.0


@dataclass(frozen=True, slots=True)
class RunningPart:
    """A part of the day at one setting.

    hours_per_day : hours at this setting on a day of use [h]
    power_w : mean electrical power at it, None where it was not measured [W]
    power_uncertainty_w : its standard uncertainty [W]
    setting : name for messages
    """

    hours_per_day: float
    power_w: float | None
    power_uncertainty_w: float = 0.0
    setting: str = ""


class EnergyUse(NamedTuple):
    """Energy of a year.

    running_hours_per_year : hours with the fan running [h]
    running_kwh_per_year, standby_kwh_per_year : energy of each, zero where it is missing [kWh]
    uncertainty_kwh_per_year : standard uncertainty from the power readings [kWh]
    missing : one sentence for each power that was not measured; then the sum is a lower bound
    """

    running_hours_per_year: float
    running_kwh_per_year: float
    standby_kwh_per_year: float
    uncertainty_kwh_per_year: float
    missing: tuple[str, ...]

    @property
    def energy_kwh_per_year(self) -> float:
        return self.running_kwh_per_year + self.standby_kwh_per_year

    @property
    def at_least(self) -> bool:
        return bool(self.missing)


def energy_use(
    parts: tuple[RunningPart, ...],
    *,
    days_per_year: float = 365.0,
    standby_power_w: float | None = None,
    standby_power_uncertainty_w: float = 0.0,
    unplugged_when_off: bool = False,
) -> EnergyUse:
    r"""Energy of a year from power and hours.

    .. math:: E = \frac{D \sum_i P_i h_i + P_s (8760 - D \sum_i h_i)}{1000}

    Parameters
        parts : settings used on a day of use, each with its hours and watts
        days_per_year : days of use D, 0 to 365 [d]
        standby_power_w : power with the fan off but plugged in [W]; None: not measured
        unplugged_when_off : then standby counts as zero and needs no power value
    Returns  energy with its standard uncertainty; powers of different settings count as independent [1]_ [kWh]
    Raises   ValueError for hours outside a day, days outside a year, or a power below zero
    Notes    A missing power adds nothing and is named in `missing`: the energy is then a lower bound.

    References
    .. [1] JCGM 100:2008, 5.1.2.
    >>> energy_use((RunningPart(24.0, 12.5),)).energy_kwh_per_year
    109.5
    >>> energy_use((RunningPart(16.0, 50.0),), standby_power_w=0.5).energy_kwh_per_year
    293.46
    """
    hours_per_day = _checked_hours_per_day(parts, days_per_year, standby_power_w)
    running_hours = min(hours_per_day * days_per_year, HOURS_PER_YEAR)
    standby_hours = HOURS_PER_YEAR - running_hours
    missing = []
    running_kwh = variance = 0.0
    for part in parts:
        hours = part.hours_per_day * min(days_per_year, HOURS_PER_YEAR / 24)
        if part.power_w is None:
            if hours > 0:
                missing.append(f"The power {_at(part.setting)} was not measured, so its energy is not included.")
            continue
        running_kwh += part.power_w * hours / 1000
        variance += (part.power_uncertainty_w * hours / 1000) ** 2
    standby_kwh = 0.0
    if standby_hours > 1e-6 and not unplugged_when_off:
        if standby_power_w is None:
            missing.append(
                f"The standby power was not measured, so {standby_hours:,.0f} h of standby are not included."
            )
        else:
            standby_kwh = standby_power_w * standby_hours / 1000
            variance += (standby_power_uncertainty_w * standby_hours / 1000) ** 2
    return EnergyUse(running_hours, running_kwh, standby_kwh, variance**0.5, tuple(missing))


def _checked_hours_per_day(
    parts: tuple[RunningPart, ...], days_per_year: float, standby_power_w: float | None
) -> float:
    hours_per_day = sum(part.hours_per_day for part in parts)
    if any(not part.hours_per_day >= 0 for part in parts) or hours_per_day > 24.0 + 1e-9:
        raise ValueError(
            f"The hours per day at the settings add up to {hours_per_day:g}; each must be zero or above and the sum "
            "at most 24 h."
        )
    if not 0 <= days_per_year <= 366:
        raise ValueError(f"The days of use per year are {days_per_year:g}; they must be between 0 and 366.")
    powers = [part.power_w for part in parts] + [standby_power_w]
    if any(power is not None and not power >= 0 for power in powers):
        raise ValueError(f"The powers are {powers} W; each must be zero or above.")
    return hours_per_day


def _at(setting: str) -> str:
    return f"at {setting}" if setting else "of the running unit"
