"""A quantity known as a mixture of normal distributions, one for each value of what is uncertain about its spread."""

import math

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from app.compute.statistics.measured import Measured, coverage_factor_95
from app.compute.statistics.repeatability import FEWEST_DEGREES_OF_FREEDOM

Floats = NDArray[np.float64]

_MOST_STEPS = 80
_ROOT_OF_TWO_PI = math.sqrt(2 * math.pi)


def quantile_of_mixture(share: float, weights: Floats, means: Floats, deviations: Floats) -> float:
    """Value below which the mixture has this share, by Newton steps inside a bracket that closes in.

    weights : summing to one; deviations : above zero

    >>> round(quantile_of_mixture(0.975, np.array([1.0]), np.array([2.0]), np.array([1.0])), 6)
    3.959964
    """
    low, high = float((means - 40 * deviations).min()), float((means + 40 * deviations).max())
    value = float(weights @ means)
    for _ in range(_MOST_STEPS):
        z = (value - means) / deviations
        excess = float(weights @ ndtr(z)) - share
        low, high = (value, high) if excess < 0 else (low, value)
        density = float(weights @ (np.exp(-0.5 * z**2) / deviations)) / _ROOT_OF_TWO_PI
        step = excess / density if density > 0 else math.inf
        before, value = value, value - step
        if not low < value < high:
            value = (low + high) / 2
        if abs(value - before) <= 1e-13 * max(abs(low), abs(high)):
            break
    return value


def measured_of_mixture(weights: Floats, means: Floats, deviations: Floats) -> Measured:
    r"""Mean of the mixture with its 95 % interval. The degrees of freedom are those of an inverse chi-square
    distribution with the same mean and variance of the squared deviations, at least five.

    .. math:: \nu = 4 + \frac{2 E^2}{\sum_i w_i (\sigma_i^2-\overline{\sigma^2})^2}

    >>> alike = np.array([0.5, 0.5])
    >>> measured_of_mixture(alike, np.array([1.0, 1.0]), np.array([0.2, 0.2])).interval_95
    (0.608..., 1.391...)
    """
    mean = float(weights @ means)
    low, high = (quantile_of_mixture(share, weights, means - mean, deviations) for share in (0.025, 0.975))
    squares = deviations**2
    variance = float(weights @ (squares + (means - mean) ** 2))
    spread = float(weights @ (squares - weights @ squares) ** 2)
    degrees = max(FEWEST_DEGREES_OF_FREEDOM, 4 + 2 * variance**2 / spread) if spread > 1e-12 * variance**2 else math.inf
    return Measured(mean, (high - low) / 2 / coverage_factor_95(degrees), degrees)
