"""Median of a few log-normal times, some right-censored: an accelerated failure time model without covariates."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import log_ndtr

from app.compute.statistics.mixture import quantiles_of_mixtures
from app.compute.statistics.repeatability import Repeatability, UncertainVariance

Floats = NDArray[np.float64]

_SPREADS = np.geomspace(0.005, 2.0, 61)
_AT_ONCE = 256  # sets of times in one pass
_SHARES = (0.5, 0.025, 0.975)
# Where times are censored: points of the logarithm of the median in three passes, each over a narrower range, the
# probability beyond either end of the range, and that of a spread below which later passes leave it out.
_MEDIANS = (65, 65, 97)
_BEYOND = 2e-5
_NEGLIGIBLE = 1e-7


@dataclass(frozen=True, slots=True)
class RepeatedTimes:
    """Logarithms of times, their relative uncertainties, and whether the event was seen; else it is a lower bound."""

    logarithms: Sequence[float]
    uncertainties: Sequence[float]
    reached: Sequence[bool]


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
    return medians_of_times([(times, spread)])[0]


def medians_of_times(asked: Sequence[tuple[RepeatedTimes, Repeatability]]) -> list[tuple[float, float, float]]:
    """`median_of_times` for many, in their order; a result does not depend on the others, to the last digit."""
    found: dict[int, tuple[float, float, float]] = {}
    seen: dict[int, list[int]] = defaultdict(list)
    for place, (times, spread) in enumerate(asked):
        if all(times.reached):
            seen[len(times.logarithms)].append(place)
        else:
            found[place] = _median_on_grid(times, spread)
    for places in seen.values():
        for start in range(0, len(places), _AT_ONCE):
            some = places[start : start + _AT_ONCE]
            found |= zip(some, _medians_of_seen([asked[place] for place in some]), strict=True)
    return [found[place] for place in range(len(asked))]


def log_likelihood(times: RepeatedTimes, medians: Floats, spreads: Floats) -> Floats:
    """Log-likelihood of each logarithm of the median (rows) and each spread (columns)."""
    found = np.zeros((medians.size, spreads.size))
    for logarithm, own, seen in zip(times.logarithms, times.uncertainties, times.reached, strict=True):
        deviation = np.sqrt(own**2 + spreads**2)
        z = (logarithm - medians[:, None]) / deviation
        found += -0.5 * z**2 - np.log(deviation) - 0.5 * np.log(2 * np.pi) if seen else log_ndtr(-z)
    return found


def _medians_of_seen(asked: Sequence[tuple[RepeatedTimes, Repeatability]]) -> list[tuple[float, float, float]]:
    """Of equally many times, all seen: for each spread the restricted log-likelihood, and mean and variance of the
    logarithm of the median."""
    logarithms = np.array([times.logarithms for times, _ in asked])[:, :, None]
    variance = np.array([times.uncertainties for times, _ in asked])[:, :, None] ** 2 + _SPREADS**2
    w = 1.0 / variance
    total = w.sum(axis=1)
    mean = (w * logarithms).sum(axis=1) / total
    squares = (w * (logarithms - mean[:, None]) ** 2).sum(axis=1)
    log_density = -0.5 * (np.log(variance).sum(axis=1) + np.log(total) + squares) + np.stack(
        [_log_prior(spread) for _, spread in asked]
    )
    weights = np.exp(log_density - log_density.max(axis=1)[:, None])
    weights /= weights.sum(axis=1)[:, None]
    # all at once: the steps take as long as many more rows
    shares = np.repeat(_SHARES, len(asked))
    thrice = (np.tile(column, (len(_SHARES), 1)) for column in (weights, mean, np.sqrt(1.0 / total)))
    quantiles = quantiles_of_mixtures(shares, *thrice).reshape(len(_SHARES), -1)
    return list(zip(*np.exp(quantiles).tolist(), strict=True))


def _log_prior(spread: Repeatability) -> Floats:
    """Over the logarithm of the spread."""
    degrees = spread.degrees_of_freedom
    scale = UncertainVariance(spread.relative_sd**2, degrees).scale
    found: Floats = -degrees * np.log(_SPREADS) - degrees * scale / (2 * _SPREADS**2)
    return found


def _median_on_grid(times: RepeatedTimes, spread: Repeatability) -> tuple[float, float, float]:
    """By summing over a grid that is narrowed to where the density counts."""
    first, last = min(times.logarithms), max(times.logarithms)
    reach = 12 * float(np.hypot(last - first, 2 * spread.relative_sd))
    low, high = first - reach, last + reach
    spreads, log_prior = _SPREADS, _log_prior(spread)
    for points in _MEDIANS:
        medians = np.linspace(low, high, points)
        log_density = log_likelihood(times, medians, spreads) + log_prior
        density = np.exp(log_density - log_density.max())
        low, *quantiles, high = _quantiles(medians, density.sum(axis=1))
        low, high = low - 2 * (medians[1] - medians[0]), high + 2 * (medians[1] - medians[0])
        of_spreads = density.sum(axis=0)
        counting = of_spreads > _NEGLIGIBLE * of_spreads.max()
        spreads, log_prior = spreads[counting], log_prior[counting]
    below, middle, above = np.exp(quantiles).tolist()
    return middle, below, above


def _quantiles(points: Floats, density: Floats) -> list[float]:
    """Both ends beyond which the density is negligible, and between them the 2.5, 50 and 97.5 % points, of a density on
    evenly spaced points: the trapezium rule with the correction of its ends, and a straight density inside a step."""
    step = float(points[1] - points[0])
    slope = np.gradient(density, step)
    cumulative = np.concatenate([[0.0], np.cumsum(density[1:] + density[:-1]) * step / 2])
    cumulative -= step**2 / 12 * (slope - slope[0])
    shares = np.array([_BEYOND, 0.025, 0.5, 0.975, 1 - _BEYOND]) * cumulative[-1]
    place = np.clip(np.searchsorted(cumulative, shares) - 1, 0, points.size - 2)
    rest = shares - cumulative[place]
    height, rise = density[place], (density[place + 1] - density[place]) / step
    root = np.sqrt(np.maximum(height**2 + 2 * rise * rest, 0.0))
    inside = np.divide(2 * rest, height + root, out=np.zeros(5), where=height + root > 0)
    found: list[float] = (points[place] + np.clip(inside, 0.0, step)).tolist()
    return found
