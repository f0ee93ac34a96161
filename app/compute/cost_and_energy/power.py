"""Electrical power of a unit from spot readings or from a power log, with the limits of a plug-in meter."""

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from app.compute.cost_and_energy.meter import display_step_w, of_meter_w
from app.compute.cost_and_energy.power_result import LogPower
from app.compute.statistics.measured import Measured
from app.compute.wording.notes import Note
from app.compute.wording.numbers import UNCERTAIN_SHARE

# A plug-in meter's resolution is coarse at low load. Common practice, no source.
LOW_LOAD_W = 5.0
COARSE_STEP_SHARE = 0.05
_BLOCKS = 10
_LONGEST_GAP_IN_INTERVALS = 10.0


def power_of_spot_readings(readings_w: ArrayLike, meter_uncertainty_w: float) -> Measured:
    """Mean of repeated readings of one setting on one meter.

    .. math:: u^2 = s^2 / n + u_m^2

    Parameters
        readings_w : one reading or more [W]
        meter_uncertainty_w : stated standard uncertainty of the meter, zero where it was not stated; with the display
            step it gives u_m (`of_meter_w`), common to all readings, so repeats do not make it smaller [W]
    Returns  mean with its uncertainty; degrees of freedom by Welch and Satterthwaite [1]_ [W]
    Raises   ValueError without readings, for one that is not a number or below zero, or a negative uncertainty
    Notes    With one reading, only the meter's part is included.

    References
    .. [1] JCGM 100:2008, 4.2.3, 5.1.2 and G.4.1.
    >>> power_of_spot_readings([50.0, 52.0, 51.0], 0.5)
    Measured(value=51.0, uncertainty=0.816...)
    """
    values = np.asarray(readings_w, dtype=float)
    if values.size == 0 or not bool(np.all(np.isfinite(values) & (values >= 0))):
        raise ValueError(
            f"The power readings are {values.tolist()} W; one or more numbers of zero or above are needed."
        )
    if not meter_uncertainty_w >= 0:
        raise ValueError(f"The meter's uncertainty is {meter_uncertainty_w:g} W; it must be zero or above.")
    of_meter = of_meter_w(float(values.mean()), meter_uncertainty_w, display_step_w(values.tolist()))
    if values.size == 1:
        return Measured(float(values[0]), of_meter)
    of_mean = float(values.std(ddof=1) / math.sqrt(values.size))
    both = math.hypot(of_mean, of_meter)
    degrees_of_freedom = (values.size - 1) * (both / of_mean) ** 4 if of_mean > 0 else math.inf
    return Measured(float(values.mean()), both, degrees_of_freedom)


def power_of_log(elapsed_s: ArrayLike, power_w: ArrayLike, meter_uncertainty_w: float = 0.0) -> LogPower:
    r"""Mean power of a log: energy by the trapezoid rule over time, divided by the time.

    .. math:: \bar P = \frac{1}{t_n - t_0} \sum_i \frac{P_i + P_{i+1}}{2} (t_{i+1} - t_i)

    Parameters
        elapsed_s, power_w : readings in any order [s], [W]; not-a-number is left out; readings of one time are averaged
        meter_uncertainty_w : standard uncertainty of the meter; zero: not stated, an assumed class is used [W]
    Returns  mean power with its uncertainty from three independent parts: the spread of the means of ten blocks of
        time, the meter's step (a rectangle as wide as the step [1]_), and the meter; highest power and cautions
    Raises   ValueError for fewer than two different times, or a power below zero
    Notes    In an unevenly sampled log the time-weighted mean differs from the mean of the rows.

    References
    .. [1] JCGM 100:2008, 4.3.7 and F.2.2.1.
    >>> power_of_log([0, 10, 40], [10.0, 20.0, 20.0]).mean_power.value
    18.75
    """
    times, powers = _in_order(np.asarray(elapsed_s, dtype=float), np.asarray(power_w, dtype=float))
    if times.size < 2:
        raise ValueError(
            f"The power log has {times.size} different times with a reading; a mean over time needs 2 or more."
        )
    if bool(np.any(powers < 0)):
        raise ValueError(
            f"The power log holds {powers.min():g} W; a power must be zero or above. Check the column and its unit."
        )
    duration = float(times[-1] - times[0])
    mean = float(np.trapezoid(powers, times)) / duration
    step = _step(np.asarray(power_w, dtype=float))
    of_blocks, blocks = _block_spread(times, powers)
    both = math.hypot(of_blocks, of_meter_w(mean, meter_uncertainty_w, step))
    degrees_of_freedom = (blocks - 1) * (both / of_blocks) ** 4 if of_blocks > 0 else math.inf
    return LogPower(
        mean_power=Measured(mean, both, degrees_of_freedom),
        duration_h=duration / 3600,
        readings=int(times.size),
        highest_w=float(powers.max()),
        notes=_cautions(times, powers, Measured(mean, both), step),
    )


def _in_order(
    times: NDArray[np.float64], powers: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    usable = np.isfinite(times) & np.isfinite(powers)
    distinct, place = np.unique(times[usable], return_inverse=True)
    sums = np.bincount(place, weights=powers[usable], minlength=distinct.size)
    counts = np.bincount(place, minlength=distinct.size)
    return distinct, sums / np.maximum(counts, 1)


def _step(powers: NDArray[np.float64]) -> float:
    """Smallest difference between two recorded values: the meter's display step; from their decimals where values
    hardly repeat or only one occurs.
    """
    recorded = powers[np.isfinite(powers)]
    levels = np.unique(recorded)
    if levels.size > 1 and recorded.size > 2 * levels.size:
        return float(np.diff(levels).min())
    return display_step_w(levels.tolist())


def _block_spread(times: NDArray[np.float64], powers: NDArray[np.float64]) -> tuple[float, int]:
    """Standard error of the mean from blocks of equal time, so that drift and autocorrelation are included."""
    edges = np.linspace(times[0], times[-1], _BLOCKS + 1)
    energy = np.concatenate([[0.0], np.cumsum((powers[1:] + powers[:-1]) / 2 * np.diff(times))])
    # energy is linear between readings to sufficient precision
    means = np.diff(np.interp(edges, times, energy)) / np.diff(edges)
    if times.size < 2 * _BLOCKS:
        return float(powers.std(ddof=1) / math.sqrt(powers.size)), int(powers.size)
    return float(means.std(ddof=1) / math.sqrt(_BLOCKS)), _BLOCKS


def _cautions(
    times: NDArray[np.float64], powers: NDArray[np.float64], found: Measured, step: float
) -> tuple[Note, ...]:
    mean, notes = found.value, []
    if found.uncertainty > UNCERTAIN_SHARE * mean:
        notes.append(
            Note(
                "power_varies",
                "care",
                f"The {times.size} readings run from {powers.min():.1f} to {powers.max():.1f} W, so the mean of "
                f"{mean:.1f} W is uncertain by {100 * found.uncertainty / mean:.0f} %. Log longer at one setting, "
                "without switching it on or off.",
                found.uncertainty,
                UNCERTAIN_SHARE * mean,
                "W",
            )
        )
    if mean < LOW_LOAD_W:
        notes.append(
            Note(
                "low_load",
                "care",
                f"The mean is {mean:.2f} W. Many plug-in meters are not specified below {LOW_LOAD_W:g} W; check the "
                "meter's manual, or measure the energy over a day.",
                mean,
                LOW_LOAD_W,
                "W",
            )
        )
    if mean > 0 and step > COARSE_STEP_SHARE * mean:
        notes.append(
            Note(
                "coarse_meter",
                "care",
                f"The meter's values are {step:g} W apart, {100 * step / mean:.0f} % of the mean of {mean:.2f} W. "
                "Use a meter with a finer step, or read the energy over a longer time.",
                step,
                COARSE_STEP_SHARE * mean,
                "W",
            )
        )
    gaps = np.diff(times)
    longest, usual = float(gaps.max()), float(np.median(gaps))
    if longest > _LONGEST_GAP_IN_INTERVALS * usual:
        notes.append(
            Note(
                "gap_in_power_log",
                "care",
                f"The longest gap between readings is {longest:.0f} s where {usual:.0f} s is usual; the power within "
                "it is interpolated linearly.",
                longest,
                _LONGEST_GAP_IN_INTERVALS * usual,
                "s",
            )
        )
    return tuple(notes)
