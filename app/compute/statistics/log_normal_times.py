"""Median of a few log-normal times, some right-censored: an accelerated failure time model without covariates."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import log_ndtr

from app.compute.statistics.mixture import quantile_of_mixture
from app.compute.statistics.repeatability import Repeatability, UncertainVariance

Floats = NDArray[np.float64]

_SPREADS = np.geomspace(0.005, 2.0, 61)
_MEDIANS = 241  # points of the logarithm of the median, where times are censored


@dataclass(frozen=True, slots=True, eq=False)
class RepeatedTimes:
    """Logarithms of times, their relative uncertainties, and whether the event was seen; else it is a lower bound."""

    logarithms: Floats
    uncertainties: Floats
    reached: NDArray[np.bool_]


def median_of_times(times: RepeatedTimes, spread: Repeatability) -> tuple[float, float, float]:
    r"""Median with its 95 % interval, in the unit of the times. [1]_

    .. math:: \ln t_i \sim N(\mu,\ u_i^2 + \tau^2), \qquad p(\mu, \tau) \propto p(\tau)

    spread : relative spread τ between times, a scaled inverse chi-square distribution for τ²; the times update it
    Returns exp(μ): the median and the 2.5 and 97.5 % points of its distribution, averaged over τ. A censored time
        contributes the probability that it is longer.

    References
    ----------
    .. [1] Likelihood of the log-normal accelerated failure time model, as in J. D. Kalbfleisch and R. L. Prentice, The
       Statistical Analysis of Failure Time Data, 2002; from memory, checked against lifelines. The prior for τ² as in
       `repeatability`; flat in μ, so that the interval is that of Student's t where nothing is censored.

    >>> one = RepeatedTimes(np.log([30.0]), np.array([0.0]), np.array([True]))
    >>> [round(x, 1) for x in median_of_times(one, Repeatability(0.05, 1e6, 9, 29, "given"))]
    [30.0, 27.2, 33.1]
    """
    if times.reached.all():
        log_weights, means, variances = _normal_given_spread(times)
        weights = _normalised(log_weights + _log_prior(spread))
        deviations = np.sqrt(variances)
        low, middle, high = (quantile_of_mixture(q, weights, means, deviations) for q in (0.025, 0.5, 0.975))
    else:
        low, middle, high = _quantiles_on_grid(times, spread)
    return float(np.exp(middle)), float(np.exp(low)), float(np.exp(high))


def log_likelihood(times: RepeatedTimes, medians: Floats, spreads: Floats) -> Floats:
    """Log-likelihood of each logarithm of the median (rows) and each spread (columns)."""
    found = np.zeros((medians.size, spreads.size))
    for logarithm, own, seen in zip(times.logarithms, times.uncertainties, times.reached, strict=True):
        deviation = np.sqrt(own**2 + spreads**2)
        z = (logarithm - medians[:, None]) / deviation
        found += -0.5 * z**2 - np.log(deviation) - 0.5 * np.log(2 * np.pi) if seen else log_ndtr(-z)
    return found


def _normal_given_spread(times: RepeatedTimes) -> tuple[Floats, Floats, Floats]:
    """For each spread its restricted log-likelihood, and mean and variance of the logarithm of the median."""
    variance = times.uncertainties[:, None] ** 2 + _SPREADS**2
    w = 1.0 / variance
    total = w.sum(axis=0)
    mean = (w * times.logarithms[:, None]).sum(axis=0) / total
    squares = (w * (times.logarithms[:, None] - mean) ** 2).sum(axis=0)
    return -0.5 * (np.log(variance).sum(axis=0) + np.log(total) + squares), mean, 1.0 / total


def _log_prior(spread: Repeatability) -> Floats:
    """Over the logarithm of the spread."""
    degrees = spread.degrees_of_freedom
    scale = UncertainVariance(spread.relative_sd**2, degrees).scale
    found: Floats = -degrees * np.log(_SPREADS) - degrees * scale / (2 * _SPREADS**2)
    return found


def _normalised(log_weights: Floats) -> Floats:
    weights = np.exp(log_weights - log_weights.max())
    found: Floats = weights / weights.sum()
    return found


def _quantiles_on_grid(times: RepeatedTimes, spread: Repeatability) -> tuple[float, float, float]:
    """The 2.5, 50 and 97.5 % points of the logarithm of the median, by summing over a grid that is narrowed once."""
    reach = 12 * np.hypot(float(np.ptp(times.logarithms)), 2 * spread.relative_sd)
    low, high = float(times.logarithms.min()) - reach, float(times.logarithms.max()) + reach
    for _ in range(3):
        medians = np.linspace(low, high, _MEDIANS)
        density = _normalised(log_likelihood(times, medians, _SPREADS) + _log_prior(spread)).sum(axis=1)
        cumulative = np.concatenate([[0.0], np.cumsum((density[1:] + density[:-1]) / 2)])
        cumulative /= cumulative[-1]
        low, high = (float(np.interp(q, cumulative, medians)) for q in (1e-7, 1 - 1e-7))
    found = np.interp((0.025, 0.5, 0.975), cumulative, medians)
    return float(found[0]), float(found[1]), float(found[2])
