"""Quantities known as mixtures of normal distributions, one for each value of what is uncertain about their spread.

Functions take many mixtures at once, one a row. A row's result does not depend on the other rows, to the last digit.
"""

import math

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr, ndtri

from app.compute.statistics.measured import Measured, coverage_factor_95
from app.compute.statistics.repeatability import FEWEST_DEGREES_OF_FREEDOM

Floats = NDArray[np.float64]

_MOST_STEPS = 80
_LEAST_DENSITY = 1e-200  # below it a step would overflow
_ROOT_OF_TWO_PI = math.sqrt(2 * math.pi)


def quantiles_of_mixtures(share: float | Floats, weights: Floats, means: Floats, deviations: Floats) -> Floats:
    """Value below which each mixture has this share, by Newton steps inside a bracket that closes in.

    share : of all, or one for each row
    weights : each row sums to one; deviations : above zero

    >>> quantiles_of_mixtures(0.975, np.array([[1.0]]), np.array([[2.0]]), np.array([[1.0]])).round(6)
    array([3.959964])
    """
    low, high = (means - 40 * deviations).min(axis=1), (means + 40 * deviations).max(axis=1)
    mean = (weights * means).sum(axis=1)
    value: Floats = mean + ndtri(share) * np.sqrt(
        (weights * (deviations**2 + (means - mean[:, None]) ** 2)).sum(axis=1)
    )
    shares = np.broadcast_to(share, value.shape)
    going = np.arange(value.size)
    for _ in range(_MOST_STEPS):
        w, m, d, at = weights[going], means[going], deviations[going], value[going]
        z = (at[:, None] - m) / d
        excess = (w * ndtr(z)).sum(axis=1) - shares[going]
        below = excess < 0
        low[going] = np.where(below, at, low[going])
        high[going] = np.where(below, high[going], at)
        density = (w * (np.exp(-0.5 * z**2) / d)).sum(axis=1) / _ROOT_OF_TWO_PI
        moved = at - np.divide(excess, density, out=np.full(at.size, np.inf), where=density > _LEAST_DENSITY)
        inside = (low[going] < moved) & (moved < high[going])
        value[going] = np.where(inside, moved, (low[going] + high[going]) / 2)
        reach = np.maximum(np.abs(low[going]), np.abs(high[going]))
        going = going[np.abs(value[going] - at) > 1e-13 * reach]
        if not going.size:
            break
    return value


def measured_of_mixtures(weights: Floats, means: Floats, deviations: Floats) -> list[Measured]:
    r"""Mean of each mixture with its 95 % interval. The degrees of freedom are those of an inverse chi-square
    distribution with the same mean and variance of the squared deviations, at least five.

    .. math:: \nu = 4 + \frac{2 E^2}{\sum_i w_i (\sigma_i^2-\overline{\sigma^2})^2}

    >>> alike = np.array([[0.5, 0.5]])
    >>> measured_of_mixtures(alike, np.array([[1.0, 1.0]]), np.array([[0.2, 0.2]]))[0].interval_95
    (0.608..., 1.391...)
    """
    mean = (weights * means).sum(axis=1)
    centred = means - mean[:, None]
    low, high = (quantiles_of_mixtures(share, weights, centred, deviations) for share in (0.025, 0.975))
    squares = deviations**2
    variance = (weights * (squares + centred**2)).sum(axis=1)
    spread = (weights * (squares - (weights * squares).sum(axis=1)[:, None]) ** 2).sum(axis=1)
    found = []
    columns = (mean, (high - low) / 2, variance, spread)
    for value, half, e, s in zip(*(column.tolist() for column in columns), strict=True):
        degrees = max(FEWEST_DEGREES_OF_FREEDOM, 4 + 2 * e**2 / s) if s > 1e-12 * e**2 else math.inf
        found.append(Measured(value, half / coverage_factor_95(degrees), degrees))
    return found
