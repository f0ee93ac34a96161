"""Clean air delivery rate, air changes, time to 95 % reduction, and the detection limit of the rate."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from app.compute.statistics.asymmetric import AsymmetricMeasured
from app.compute.statistics.measured import Measured
from app.compute.statistics.measured_columns import MeasuredColumns, combined, one_sided_factors_95

# The reduction that the standard clearing time refers to: 95 % of the excess over background, ln 20 = 2.996 time
# constants.
STANDARD_REDUCTION = 0.95
MINUTES_PER_HOUR = 60.0

Floats = NDArray[np.float64]


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


@dataclass(frozen=True, slots=True, eq=False)
class CleanAirColumns:
    """`clean_air_delivery_rate` and `detection` of many trials or settings, one a row. [m³/h]"""

    rate: MeasuredColumns
    measurable: NDArray[np.bool_]
    at_most: Floats
    decision_threshold: Floats


def clean_air_columns(
    total_decay: MeasuredColumns, natural_decay: MeasuredColumns, volume: MeasuredColumns
) -> CleanAirColumns:
    """The two functions below for many rows; a row's result does not depend on the others, to the last digit."""
    cleaning = _difference(total_decay, natural_decay)
    rate = combined(
        volume.value * cleaning.value,
        [
            (volume.value * total_decay.uncertainty, total_decay.degrees_of_freedom),
            (volume.value * natural_decay.uncertainty, natural_decay.degrees_of_freedom),
            (np.abs(cleaning.value) * volume.uncertainty, volume.degrees_of_freedom),
        ],
    )
    threshold = one_sided_factors_95(cleaning.degrees_of_freedom) * volume.value * cleaning.uncertainty
    at_most = np.maximum(rate.value, 0.0) + one_sided_factors_95(rate.degrees_of_freedom) * rate.uncertainty
    return CleanAirColumns(rate, rate.value > threshold, at_most, threshold)


def _difference(total_decay: MeasuredColumns, natural_decay: MeasuredColumns) -> MeasuredColumns:
    return combined(
        total_decay.value - natural_decay.value,
        [
            (total_decay.uncertainty, total_decay.degrees_of_freedom),
            (natural_decay.uncertainty, natural_decay.degrees_of_freedom),
        ],
    )


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
    return _alone(total_decay, natural_decay, volume).rate.row(0)


def air_changes_per_h(total_decay: Measured, natural_decay: Measured) -> Measured:
    r"""Equivalent air changes in the test room: clean air delivery rate over the volume of the same room.

    .. math:: n = Q / V = k_t - k_n

    The volume cancels, and its uncertainty with it.

    total_decay, natural_decay : [1/h]; returns [1/h], below zero where the decay rates say so

    >>> air_changes_per_h(Measured(6.0, 0.3), Measured(0.6, 0.4))
    Measured(value=5.4, uncertainty=0.5)
    """
    return _difference(MeasuredColumns.of([total_decay]), MeasuredColumns.of([natural_decay])).row(0)


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
    (minutes, uncertainty, low, high) = (
        column.tolist()[0] for column in standard_clearing_times(MeasuredColumns.of([total_decay]))
    )
    return None if math.isnan(minutes) else AsymmetricMeasured(minutes, uncertainty, low, high)


def standard_clearing_times(total_decay: MeasuredColumns) -> tuple[Floats, Floats, Floats, Floats]:
    """`standard_clearing_time` for many rows: times, uncertainties and limits; not-a-number where there is none."""
    bounded = total_decay.low_95 > 0
    low, rate, high = (
        np.where(bounded, column, np.nan) for column in (total_decay.low_95, total_decay.value, total_decay.high_95)
    )
    minutes = _removal_times(rate)
    return minutes, minutes * total_decay.uncertainty / rate, _removal_times(high), _removal_times(low)


def _removal_times(rates_per_h: Floats) -> Floats:
    found: Floats = -math.log1p(-STANDARD_REDUCTION) / rates_per_h * MINUTES_PER_HOUR
    return found


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
    found = _alone(total_decay, natural_decay, volume)
    threshold = float(found.decision_threshold[0])
    return Detection(
        measurable=bool(found.measurable[0]),
        at_most=float(found.at_most[0]),
        decision_threshold=threshold,
        detection_limit=2.0 * threshold,
    )


def _alone(total_decay: Measured, natural_decay: Measured, volume: Measured) -> CleanAirColumns:
    if not volume.value > 0:
        raise ValueError(f"The effective volume is {volume.value} m³; it must be above zero.")
    return clean_air_columns(*(MeasuredColumns.of([one]) for one in (total_decay, natural_decay, volume)))
