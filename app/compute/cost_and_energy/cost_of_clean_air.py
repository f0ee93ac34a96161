"""Cost of a thousand cubic metres of clean air."""

import math

from app.compute.cost_and_energy.running_cost import RunningCost
from app.compute.statistics.measured import Measured


def cost_per_1000_m3_of_clean_air(cost: RunningCost, clean_air_delivery_rate: Measured) -> Measured:
    r"""Running cost over the clean air delivered in the same hours, purchase price left out.

    .. math:: c = \frac{1000\,K}{Q H}, \qquad
              \left(\frac{u_c}{c}\right)^2 = \left(\frac{u_K}{K}\right)^2 + \left(\frac{u_Q}{Q}\right)^2

    Parameters
        cost : cost K of a year and hours H with the fan running [money/year, h/year]
        clean_air_delivery_rate : Q [m³/h]
    Returns  c with its standard uncertainty [money per 1,000 m³]; degrees of freedom by Welch and Satterthwaite [1]_
    Raises   ValueError where the rate is not above zero by more than its 95 % interval, or the unit never runs
    Notes    Where `cost.at_least`, c is a lower bound as well. Normal and independent inputs; the skew of the ratio
    is neglected, which is acceptable while u_Q / Q stays below about 0.2.

    References
    .. [1] JCGM 100:2008, 5.1.6 and G.4.1.
    >>> from app.compute.cost_and_energy.running_cost import CostAssumptions, OwnedUnit, running_cost
    >>> from app.compute.cost_and_energy.energy_use import RunningPart
    >>> cost = running_cost(OwnedUnit("a", (RunningPart(24.0, 50.0),), consumables=()), CostAssumptions(0.16))
    >>> cost_per_1000_m3_of_clean_air(cost, Measured(200.0, 10.0))
    Measured(value=0.04, uncertainty=0.002)
    """
    hours = cost.energy.running_hours_per_year
    if not hours > 0:
        raise ValueError(
            f"The unit runs {hours:g} h a year; a cost of clean air needs running hours. Enter the hours per day."
        )
    rate = clean_air_delivery_rate
    if not rate.low_95 > 0:
        raise ValueError(
            f"The clean air delivery rate is {rate.value:.1f} m³/h with an interval from {rate.low_95:.1f}; it cannot "
            "be distinguished from zero, so no cost of clean air can be given."
        )
    value = 1000 * cost.total_per_year / (rate.value * hours)
    relative_rate = rate.uncertainty / rate.value
    relative_cost = cost.uncertainty_per_year / cost.total_per_year if cost.total_per_year else 0.0
    relative = math.hypot(relative_rate, relative_cost)
    degrees_of_freedom = math.inf if relative_rate == 0 else rate.degrees_of_freedom * (relative / relative_rate) ** 4
    return Measured(value, value * relative, degrees_of_freedom)
