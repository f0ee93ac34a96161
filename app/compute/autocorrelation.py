"""Autocorrelated noise: the lag-one coefficient, and sums weighted by the inverse of a noise covariance."""

import math
from dataclasses import dataclass

import numpy as np
from scipy.linalg.lapack import dpttrf, dpttrs

from app.compute.noise import Floats


def lag_one_autocorrelation(values: Floats) -> float:
    r"""Lag-one autocorrelation coefficient about the mean. [1]_

    .. math:: r_1 = \sum_{i=2}^n (y_i - \bar y)(y_{i-1} - \bar y) / \sum_{i=1}^n (y_i - \bar y)^2

    Zero where all values are equal or there are fewer than two.

    References
    .. [1] NIST Statistical Reference Datasets, univariate summary statistics, itl.nist.gov/div898/strd.

    >>> round(lag_one_autocorrelation(np.array([1.0, 2.0, 3.0, 4.0])), 3)
    0.25
    """
    if values.size < 2:
        return 0.0
    about = values - values.mean()
    total = float(about @ about)
    return float(about[1:] @ about[:-1]) / total if total > 0 else 0.0


@dataclass(frozen=True, slots=True)
class NoiseModel:
    """Standard deviations of the autocorrelated part and of the independent part of each value.

    spacing : distance of each value to the one before, in sampling steps: the correlation over it is φ^spacing
    """

    correlated: Floats
    independent: Floats
    spacing: Floats


@dataclass(frozen=True, slots=True)
class Whitener:
    """Inverse of the covariance S R S + D with AR(1) correlation R, as a tri-diagonal system.

    (S R S)⁻¹ is tri-diagonal, so with T = D⁻¹ + (S R S)⁻¹ the inverse is D⁻¹ − D⁻¹ T⁻¹ D⁻¹ and a product
    costs as many steps as there are values.
    """

    weight: Floats
    diagonal: Floats
    beside: Floats
    log_det: float

    def times(self, columns: Floats) -> Floats:
        """Ω⁻¹ times each column."""
        weighted = self.weight[:, None] * columns
        solved, _ = dpttrs(self.diagonal, self.beside, weighted)
        result: Floats = weighted - self.weight[:, None] * solved
        return result


def whitener(noise: NoiseModel, autocorrelation: float) -> Whitener:
    """The inverse covariance of the noise for one lag-one autocorrelation (0 to below 1)."""
    rho = max(autocorrelation, 1e-9) ** noise.spacing
    left = 1.0 - rho**2
    diagonal = np.ones(noise.correlated.size)
    diagonal[1:] = 1.0 / left
    diagonal[:-1] += rho**2 / left
    inverse = 1.0 / noise.correlated
    weight = 1.0 / noise.independent**2
    factor, beside, _ = dpttrf(diagonal * inverse**2 + weight, -rho / left * inverse[1:] * inverse[:-1])
    log_det = float(np.log(factor / weight).sum() + np.log(left).sum() - 2 * np.log(inverse).sum())
    return Whitener(weight, factor, beside, log_det)


def effective_number(count: int, autocorrelation: float) -> float:
    """Number of independent values worth as much as `count` autocorrelated ones in a mean.

    >>> round(effective_number(100, 0.5), 1)
    33.3
    """
    return max(1.0, count * (1 - autocorrelation) / (1 + autocorrelation)) if math.isfinite(count) else math.inf
