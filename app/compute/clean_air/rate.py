"""Clean air delivery rate, air changes, time to 95 % reduction, and the detection limit of the rate."""

import math
from dataclasses import dataclass

from app.compute.statistics.asymmetric import AsymmetricMeasured
from app.compute.statistics.measured import Measured
from app.compute.statistics.propagation import effective_degrees_of_freedom

# The reduction that the standard clearing time refers to: 95 % of the excess over background, ln 20 = 2.996 time
# constants.
STANDARD_REDUCTION = 0.95
MINUTES_PER_HOUR = 60.0


@dataclass(frozen=True, slots=True)
class Detection:
    """Whether a clean air delivery rate differs significantly from zero, one-sided at 95 %. [m³/h]

    measurable : the rate is above the decision threshold
    at_most : upper one-sided 95 % limit of the rate; a rate below zero through noise counts as zero here
    decision_threshold : a measured rate above it is significant
    detection_limit : a true rate of this size is missed in 5 % of trials
    """

    measurable: bool
    at_most: float
    decision_threshold: float
    detection_limit: float


def clean_air_delivery_rate(total_decay: Measured, natural_decay: Measured, volume: Measured) -> Measured:
    r"""Clean air delivery rate from two decay rates in one well-mixed room. [1]_

    .. math:: Q = V\,(k_t - k_n)

    Parameters
    ----------
    total_decay, natural_decay : decay rate, unit running and unit off [1/h]
    volume : effective volume of the room [m³]

    Returns
    -------
    Q with its standard uncertainty, inputs independent, and the effective degrees of freedom [2]_ [m³/h]

    Raises
    ------
    ValueError if the volume is not above zero

    Notes
    -----
    Q below zero is returned as it is: a unit that does nothing, seen through noise.

    References
    ----------
    .. [1] The difference of two decay rates times the volume, as public criteria for air cleaners state it (Natural
       Resources Canada, criteria for room air cleaners, version 1.1; read).
    .. [2] JCGM 100:2008, 5.1.2 and G.4.1; from memory.

    >>> clean_air_delivery_rate(Measured(6.0, 0.10), Measured(0.6, 0.05), Measured(30.0, 0.5))
    Measured(value=162.0, uncertainty=4.3...)
    """
    if not volume.value > 0:
        raise ValueError(f"The effective volume is {volume.value} m³; it must be above zero.")
    cleaning = total_decay.value - natural_decay.value
    parts = [
        (volume.value * total_decay.uncertainty, total_decay.degrees_of_freedom),
        (volume.value * natural_decay.uncertainty, natural_decay.degrees_of_freedom),
        (abs(cleaning) * volume.uncertainty, volume.degrees_of_freedom),
    ]
    return Measured(volume.value * cleaning, _root_sum_of_squares(parts), effective_degrees_of_freedom(parts))


def air_changes_per_h(total_decay: Measured, natural_decay: Measured) -> Measured:
    r"""Equivalent air changes in the test room: clean air delivery rate over the volume of the same room.

    .. math:: n = Q / V = k_t - k_n

    The volume cancels, and its uncertainty with it.

    total_decay, natural_decay : [1/h]; returns [1/h], below zero where the decay rates say so

    >>> air_changes_per_h(Measured(6.0, 0.3), Measured(0.6, 0.4))
    Measured(value=5.4, uncertainty=0.5)
    """
    parts = [
        (total_decay.uncertainty, total_decay.degrees_of_freedom),
        (natural_decay.uncertainty, natural_decay.degrees_of_freedom),
    ]
    return Measured(
        total_decay.value - natural_decay.value, _root_sum_of_squares(parts), effective_degrees_of_freedom(parts)
    )


def standard_clearing_time(total_decay: Measured) -> AsymmetricMeasured | None:
    r"""Time in which the fitted rate removes 95 % of the excess over background, whatever the start level.

    .. math:: t_{95} = \frac{\ln 20}{k_t}\cdot 60\ \text{min}

    total_decay : k with the unit running [1/h]
    Returns the time with the interval found by transforming the interval of k, so longer above than below [min];
    None where the interval of k reaches zero: the time then has no upper end.

    >>> standard_clearing_time(Measured(6.0, 0.6))
    AsymmetricMeasured(value=29.95..., uncertainty=2.99..., low_95=25.04..., high_95=37.26...)
    >>> standard_clearing_time(Measured(0.3, 0.2)) is None
    True
    """
    low, high = total_decay.interval_95
    if not low > 0:
        return None
    minutes = removal_time_min(total_decay.value, STANDARD_REDUCTION)
    return AsymmetricMeasured(
        value=minutes,
        uncertainty=minutes * total_decay.uncertainty / total_decay.value,
        low_95=removal_time_min(high, STANDARD_REDUCTION),
        high_95=removal_time_min(low, STANDARD_REDUCTION),
    )


def removal_time_min(air_changes_per_h: float, share_removed: float) -> float:
    r"""Time to remove a share of the airborne particles, with no source and perfect mixing. [1]_

    .. math:: t = -\frac{\ln(1 - r)}{Q/V}\cdot 60\ \text{min}

    air_changes_per_h : Q/V, or a decay rate [1/h]; share_removed : r, above 0 and below 1; returns [min]
    Raises ValueError outside these ranges.

    References
    ----------
    .. [1] US CDC, Guidelines for Environmental Infection Control in Health-Care Facilities, 2003, Appendix B,
       Table B.1 (formula and figures read in public copies).

    >>> removal_time_min(12, 0.99)
    23.02...
    """
    if not air_changes_per_h > 0:
        raise ValueError(f"The air changes are {air_changes_per_h} per hour; they must be above zero.")
    if not 0 < share_removed < 1:
        raise ValueError(f"The share removed is {share_removed}; it must be above 0 and below 1.")
    return -math.log1p(-share_removed) / air_changes_per_h * MINUTES_PER_HOUR


def detection(total_decay: Measured, natural_decay: Measured, volume: Measured) -> Detection:
    r"""Whether the clean air delivery rate differs significantly from zero, and its upper limit. [1]_

    .. math:: Q^* = t_{0.95,\nu}\,V\,u(k_t - k_n), \qquad Q^\# = 2\,Q^*, \qquad
              Q_{\le} = \max(Q, 0) + t_{0.95,\nu}\,u(Q)

    Parameters
    ----------
    total_decay, natural_decay : [1/h]
    volume : [m³]; its uncertainty only scales the rate, so it enters `at_most` alone

    Returns  thresholds in m³/h
    Raises   ValueError if the volume is not above zero

    References
    ----------
    .. [1] L. A. Currie, Analytical Chemistry 40, 586-593, 1968: decision and detection limits with equal error
       shares of 5 % and an uncertainty that does not change between zero and the limit; from memory.

    >>> detection(Measured(0.62, 0.10), Measured(0.60, 0.05), Measured(30.0, 0.5)).measurable
    False
    """
    cleaning = air_changes_per_h(total_decay, natural_decay)
    rate = clean_air_delivery_rate(total_decay, natural_decay, volume)
    threshold = one_sided_factor_95(cleaning.degrees_of_freedom) * volume.value * cleaning.uncertainty
    return Detection(
        measurable=rate.value > threshold,
        at_most=max(rate.value, 0.0) + one_sided_factor_95(rate.degrees_of_freedom) * rate.uncertainty,
        decision_threshold=threshold,
        detection_limit=2.0 * threshold,
    )


def one_sided_factor_95(degrees_of_freedom: float) -> float:
    """One-sided 95 % point of Student's t; 1.644854 for infinite degrees of freedom.

    >>> one_sided_factor_95(10)
    1.812...
    """
    if math.isinf(degrees_of_freedom):
        return 1.6448536269514722
    from scipy.special import stdtrit  # loaded when used: pages of costs and rooms do not need it

    return float(stdtrit(degrees_of_freedom, 0.95))


def _root_sum_of_squares(parts: list[tuple[float, float]]) -> float:
    return math.hypot(*(uncertainty for uncertainty, _ in parts))
