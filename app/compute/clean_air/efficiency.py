"""Two different efficiencies of an air cleaner: clean air per watt as tested, and the US federal energy factor.

They are not comparable: the first is one rate over the watts of the same run; the second combines certified smoke and
dust rates with a fixed year of 5,840 h running and 2,920 h on standby. Each has a column of its own.
"""

import math
from dataclasses import dataclass

from app.compute.clean_air.conversions import to_cubic_feet_per_minute
from app.compute.clean_air.published_figure import PublishedFigure
from app.compute.statistics.measured import Measured

ACTIVE_HOURS = PublishedFigure(
    "hours per year running", 5840, "h", "US DOE", "10 CFR 430 Subpart B Appendix FF", 2023, "from memory"
)
STANDBY_HOURS = PublishedFigure(
    "hours per year in standby", 2920, "h", "US DOE", "10 CFR 430 Subpart B Appendix FF", 2023, "from memory"
)
SMALLEST_RATE_CFM = PublishedFigure(
    "smallest rate in scope", 10, "ft³/min", "US DOE", "10 CFR 430 Subpart B Appendix FF", 2023, "read"
)
LARGEST_RATE_CFM = PublishedFigure(
    "largest rate in scope", 600, "ft³/min", "US DOE", "10 CFR 430 Subpart B Appendix FF", 2023, "read"
)


@dataclass(frozen=True, slots=True)
class FederalMinimum:
    """Least integrated energy factor of a product class in a tier.

    rate_from_cfm, rate_below_cfm : class by PM2.5 clean air rate; its boundaries are from memory [ft³/min]
    minimum : least factor, read second-hand [(ft³/min)/W]
    made_from : first day of the tier, read (ISO 8601 day)
    """

    product_class: int
    rate_from_cfm: float
    rate_below_cfm: float
    tier: int
    made_from: str
    minimum: PublishedFigure


def _minimum(product_class: int, low: float, high: float, tier: int, made_from: str, value: float) -> FederalMinimum:
    figure = PublishedFigure(
        f"minimum integrated energy factor, class {product_class}, tier {tier}",
        value,
        "(ft³/min)/W",
        "US DOE",
        "10 CFR 430.32(ee), 88 FR 21752",
        2023,
        "read second-hand",
    )
    return FederalMinimum(product_class, low, high, tier, made_from, figure)


FEDERAL_MINIMA = (
    _minimum(1, 10, 100, 1, "2023-12-31", 1.7),
    _minimum(2, 100, 150, 1, "2023-12-31", 1.9),
    _minimum(3, 150, math.inf, 1, "2023-12-31", 2.0),
    _minimum(1, 10, 100, 2, "2025-12-31", 1.9),
    _minimum(2, 100, 150, 2, "2025-12-31", 2.4),
    _minimum(3, 150, math.inf, 2, "2025-12-31", 2.9),
)


@dataclass(frozen=True, slots=True)
class FederalEnergy:
    """The federal figures of one unit, at its highest setting.

    pm2_5_rate_cfm : geometric mean of the smoke and the dust rate [ft³/min]
    energy_kwh_per_year : federal year, not the reader's [kWh]
    integrated_energy_factor_cfm_per_w : [(ft³/min)/W]
    minima : the limits of its class, one for each tier
    in_scope : both rates lie within 10 to 600 ft³/min
    unverified : figures that were not read in the rule, a phrase each, with the year
    """

    pm2_5_rate_cfm: float
    energy_kwh_per_year: float
    integrated_energy_factor_cfm_per_w: float
    minima: tuple[FederalMinimum, ...]
    in_scope: bool
    unverified: tuple[str, ...]


def clean_air_per_watt(clean_air_delivery_rate: Measured, power: Measured) -> Measured:
    r"""Clean air per watt at test power: one rate over the watts of the same setting.

    .. math:: \eta = Q / P,\qquad (u_\eta/\eta)^2 = (u_Q/Q)^2 + (u_P/P)^2

    Parameters
        clean_air_delivery_rate : Q of one aerosol and channel [m³/h]
        power : P at the same setting [W]
    Returns  η with its standard uncertainty, inputs independent [1]_ [(m³/h)/W]
    Raises   ValueError for a power that is not above zero
    Notes    Not the federal energy factor: no standby, no second aerosol.

    References
    .. [1] JCGM 100:2008, 5.1.6.
    >>> clean_air_per_watt(Measured(200.0, 10.0), Measured(50.0, 1.0))
    Measured(value=4.0, uncertainty=0.2154...)
    """
    if not power.value > 0:
        raise ValueError(f"The power is {power.value:g} W; clean air per watt needs a power above zero.")
    value = clean_air_delivery_rate.value / power.value
    uncertainty = math.hypot(clean_air_delivery_rate.uncertainty, value * power.uncertainty) / power.value
    return Measured(value, uncertainty, clean_air_delivery_rate.degrees_of_freedom)


def federal_energy(
    smoke_rate_m3_per_h: float, dust_rate_m3_per_h: float, active_power_w: float, standby_power_w: float
) -> FederalEnergy:
    r"""US federal annual energy and integrated energy factor.

    .. math:: Q_{2.5} = \sqrt{Q_s Q_d},\quad
              E = \frac{5840 P_a + 2920 P_s}{1000},\quad F = \frac{5840\,Q_{2.5}}{1000\,E}

    Parameters
        smoke_rate_m3_per_h, dust_rate_m3_per_h : rates at the highest setting, both needed [m³/h]
        active_power_w, standby_power_w : watts at that setting and on standby [W]
    Returns  the figures with the limits of the class and which figures are unverified
    Raises   ValueError for a rate or an active power that is not above zero, or a standby power below zero
    Source   10 CFR 430 Subpart B Appendix FF; that 5.1.2 joins smoke and dust: read; the formulas: from memory.

    >>> federal = federal_energy(169.90107955, 169.90107955, 50.0, 0.0)  # 100 ft³/min of each
    >>> federal.energy_kwh_per_year, round(federal.integrated_energy_factor_cfm_per_w, 6)
    (292.0, 2.0)
    """
    if not (smoke_rate_m3_per_h > 0 and dust_rate_m3_per_h > 0):
        raise ValueError(
            f"The smoke rate is {smoke_rate_m3_per_h:g} m³/h and the dust rate {dust_rate_m3_per_h:g} m³/h; the "
            "federal factor needs both above zero."
        )
    if not (active_power_w > 0 and standby_power_w >= 0):
        raise ValueError(
            f"The power is {active_power_w:g} W running and {standby_power_w:g} W in standby; for the federal factor, "
            "the first must be above zero and the second zero or above."
        )
    smoke, dust = (to_cubic_feet_per_minute(rate) for rate in (smoke_rate_m3_per_h, dust_rate_m3_per_h))
    rate = math.sqrt(smoke * dust)
    energy = (active_power_w * ACTIVE_HOURS.value + standby_power_w * STANDBY_HOURS.value) / 1000
    minima = tuple(limit for limit in FEDERAL_MINIMA if limit.rate_from_cfm <= rate < limit.rate_below_cfm)
    return FederalEnergy(
        rate,
        energy,
        rate * ACTIVE_HOURS.value / (energy * 1000),
        minima,
        all(SMALLEST_RATE_CFM.value <= value <= LARGEST_RATE_CFM.value for value in (smoke, dust)),
        (
            "hours per year (from memory, rule of 2023)",
            "geometric mean of smoke and dust rate (from memory, rule of 2023)",
            "class boundaries at 100 and 150 ft³/min (from memory, rule of 2023)",
            "minimum values (read second-hand, rule of 2023)",
        ),
    )
