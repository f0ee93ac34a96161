"""How likely a campaign tells two rates apart."""

import math
from dataclasses import dataclass

import numpy as np
from scipy.special import chdtri, ndtr

from app.compute.planning.precision import MOST_TRIALS
from app.compute.planning.trial_variance import TrialVariance
from app.compute.signal.noise import Floats
from app.compute.statistics.measured import Measured, coverage_factor_95
from app.compute.statistics.propagation import effective_degrees_of_freedom

_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(40)
_SHARES: Floats = (_NODES + 1) / 2
_SHARE_WEIGHTS: Floats = _WEIGHTS / 2
NONE = Measured(0.0, 0.0)


def power_of_difference(
    difference: float,
    scale: float,
    *,
    known_degrees: float,
    own_degrees: float,
    extra: Measured = NONE,
) -> float:
    r"""Probability that the 95 % interval of a difference excludes zero.

    .. math:: D \sim N(\Delta, s^2 R), \quad S = \frac{\nu + R\,\chi^2_d}{\nu + d}, \quad
              P = \Pr\left(|D| > t_{\nu+d}\, s\sqrt{S}\right), \quad R \sim \nu/\chi^2_\nu

    Parameters
    ----------
    difference : true difference Δ; scale : s², of the difference of the means, as it is known before the trials
    known_degrees : ν, of the knowledge before the trials; infinite for a known variance. Zero: nothing is known
        before, the true variance is the one given (R = 1), and the trials alone estimate it: the two-sample t test,
        whose power is the noncentral t [1]_
    own_degrees : d, that the trials add
    extra : a further difference that both trials and interval contain, such as natural decay of different weeks

    References
    ----------
    .. [1] W. G. Cochran and G. M. Cox or any text on sample sizes; checked against statsmodels' TTestIndPower, and
       with a known variance against the NIST/SEMATECH e-Handbook, 7.2.2.2, from memory.

    >>> round(power_of_difference(1.0, 2 / 17, known_degrees=0, own_degrees=32), 3)
    0.807
    """
    shares, weights = _SHARES, _SHARE_WEIGHTS
    if known_degrees == 0 or math.isinf(known_degrees):
        ratio, of_ratio = np.ones(1), np.ones(1)
    else:
        ratio, of_ratio = known_degrees / chdtri(known_degrees, shares), weights
    if own_degrees > 0:
        scatter, of_scatter = chdtri(own_degrees, 1 - shares), weights
    else:
        scatter, of_scatter = np.zeros(1), np.ones(1)
    if math.isinf(known_degrees):
        found = np.ones((1, scatter.size))
    else:
        found = (known_degrees + ratio[:, None] * scatter[None, :]) / (known_degrees + own_degrees)
    parts = [(math.sqrt(scale), known_degrees + own_degrees), (extra.uncertainty, extra.degrees_of_freedom)]
    limit = coverage_factor_95(effective_degrees_of_freedom(parts)) * np.sqrt(scale * found + extra.uncertainty**2)
    deviation = np.sqrt(scale * ratio + extra.uncertainty**2)[:, None]
    outside = ndtr((difference - limit) / deviation) + ndtr((-difference - limit) / deviation)
    return float(of_ratio @ outside @ of_scatter)


@dataclass(frozen=True, slots=True)
class DifferenceToPlan:
    """Two settings in one room, so that volume and, within one week, natural decay cancel.

    first, second : variance of the mean of further trials; difference_per_h : the one to be detected [1/h]
    natural_apart : natural decay of the weeks of the trials so far, first less second; exact where it is the same pool
    natural_of_one : the natural decay of the campaign less that of earlier trials, where one setting alone moved on
    """

    first: TrialVariance
    second: TrialVariance
    difference_per_h: float
    natural_apart: Measured
    natural_of_one: Measured


@dataclass(frozen=True, slots=True)
class PowerAhead:
    """Numbers of further trials of both settings, and the probability that they are told apart."""

    first_trials: int
    second_trials: int
    power: float

    @property
    def trials(self) -> int:
        return self.first_trials + self.second_trials


def power_after(plan: DifferenceToPlan, first: int, second: int) -> PowerAhead:
    """Power with further trials of both, averaged over what is known of the spread between trials."""
    one, other = plan.first, plan.second
    moved = [(v.trials + more - 1) // 2 >= v.trials for v, more in ((one, first), (other, second))]
    natural = NONE if all(moved) else plan.natural_of_one if any(moved) else plan.natural_apart
    shared = math.hypot(one.shared_after(first), other.shared_after(second))
    parts = [(natural.uncertainty, natural.degrees_of_freedom), (shared, math.inf)]
    extra = Measured(0.0, math.hypot(natural.uncertainty, shared), effective_degrees_of_freedom(parts))
    power = power_of_difference(
        plan.difference_per_h,
        one.of_mean(first) + other.of_mean(second),
        known_degrees=min(one.degrees_of_freedom, other.degrees_of_freedom),
        own_degrees=one.degrees_added(first) + other.degrees_added(second),
        extra=extra,
    )
    return PowerAhead(first, second, power)


def power_by_trials(plan: DifferenceToPlan) -> list[PowerAhead]:
    """Power after 0, 1, 2, ... further trials, each of the setting whose mean gains more from it."""
    first = second = 0
    found = [power_after(plan, 0, 0)]
    while first + second < 2 * MOST_TRIALS:
        gains = [
            variance.scale / max(n * (n + 1), 0.5)
            for variance, n in ((plan.first, plan.first.trials + first), (plan.second, plan.second.trials + second))
        ]
        first, second = (first + 1, second) if gains[0] >= gains[1] else (first, second + 1)
        found.append(power_after(plan, first, second))
    return found


def fewest_trials(path: list[PowerAhead], power: float) -> PowerAhead | None:
    """The first of `power_by_trials` from which on the power stays at or above the one wanted; None where none is."""
    low = next((place for place in range(len(path) - 1, -1, -1) if path[place].power < power), -1)
    return path[low + 1] if low + 1 < len(path) else None


def least_difference(plan: DifferenceToPlan, first: int, second: int, power: float) -> float:
    """The smallest difference that the trials would tell apart with that power [1/h], by bisection."""
    low, high = 0.0, 1e3 * math.sqrt(plan.first.scale + plan.second.scale)
    for _ in range(60):
        middle = (low + high) / 2
        asked = DifferenceToPlan(plan.first, plan.second, middle, plan.natural_apart, plan.natural_of_one)
        low, high = (middle, high) if power_after(asked, first, second).power < power else (low, middle)
    return high
