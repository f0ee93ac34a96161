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
class CorrelatedPrecision:
    """(S R S)⁻¹ of an AR(1) correlation R: its diagonal, the line beside it, and log det (S R S)."""

    diagonal: Floats
    beside: Floats
    log_det: float


@dataclass(frozen=True, slots=True)
class Whitener:
    """Inverse of the covariance S R S + D with AR(1) correlation R, as a tri-diagonal system.

    (S R S)⁻¹ is tri-diagonal, so with T = D⁻¹ + (S R S)⁻¹ the inverse is D⁻¹ − D⁻¹ T⁻¹ D⁻¹ and a product
    costs as many steps as there are values. `weight` is D⁻¹; `diagonal` and `beside` hold the factors of T.
    """

    weight: Floats
    diagonal: Floats
    beside: Floats
    log_det: float

    def inner(self, weighted: Floats) -> Floats:
        """T⁻¹ times each column."""
        solved, _ = dpttrs(self.diagonal, self.beside, weighted)
        result: Floats = solved
        return result

    def times(self, columns: Floats) -> Floats:
        """Ω⁻¹ times each column."""
        weighted = self.weight[:, None] * columns
        result: Floats = weighted - self.weight[:, None] * self.inner(weighted)
        return result


def correlated_precision(noise: NoiseModel, autocorrelation: float) -> CorrelatedPrecision:
    """The autocorrelated part alone, for one lag-one autocorrelation (0 to below 1)."""
    rho = np.exp(math.log(max(autocorrelation, 1e-9)) * noise.spacing)
    left = 1.0 - rho * rho
    share = rho / left
    diagonal = np.ones(noise.correlated.size)
    diagonal[1:] = 1.0 / left
    diagonal[:-1] += rho * share
    inverse = 1.0 / noise.correlated
    log_det = float(np.log(left).sum()) - 2 * float(np.log(inverse).sum())
    return CorrelatedPrecision(diagonal * inverse * inverse, -share * inverse[1:] * inverse[:-1], log_det)


def with_independent(precision: CorrelatedPrecision, weight: Floats, log_weight: float) -> Whitener:
    """The whole inverse covariance; `weight` is 1/variance of the independent part, log_weight its summed log."""
    factor, beside, _ = dpttrf(precision.diagonal + weight, precision.beside)
    return Whitener(weight, factor, beside, float(np.log(factor).sum()) - log_weight + precision.log_det)


def whitener(noise: NoiseModel, autocorrelation: float) -> Whitener:
    """The inverse covariance of the noise for one lag-one autocorrelation (0 to below 1)."""
    weight = 1.0 / noise.independent**2
    return with_independent(correlated_precision(noise, autocorrelation), weight, float(np.log(weight).sum()))


def effective_number(count: int, autocorrelation: float) -> float:
    """Number of independent values worth as much as `count` autocorrelated ones in a mean.

    >>> round(effective_number(100, 0.5), 1)
    33.3
    """
    return max(1.0, count * (1 - autocorrelation) / (1 + autocorrelation)) if math.isfinite(count) else math.inf
