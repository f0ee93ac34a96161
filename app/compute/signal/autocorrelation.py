"""Autocorrelated noise: the lag-one coefficient, and sums weighted by the inverse noise covariance."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.linalg.lapack import dpttrf, dpttrs

from app.compute.signal.noise import Floats


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
    takes linear time. `weight` is D⁻¹; `diagonal` and `beside` hold the factors of T.
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

    def of_tails(self, curve: Floats) -> "TailProducts":
        """Products with Ω⁻¹ for all tails of one curve, in linear time.

        With T = L D Lᵀ, upwards, and T = U D' Uᵀ, downwards, the diagonal of T⁻¹ is 1/(D + D' − diag T). Right of its
        diagonal (T⁻¹)ⱼₖ = −eⱼ (T⁻¹)ⱼ₊₁ₖ, so the sum gⱼ of (T⁻¹)ⱼₖ vₖ over k > j solves Lᵀ g = r with
        rⱼ = −eⱼ (T⁻¹)ⱼ₊₁ⱼ₊₁ vⱼ₊₁.
        """
        whole = self.diagonal.copy()
        whole[1:] += self.beside**2 * self.diagonal[:-1]
        downwards, _, _ = dpttrf(whole[::-1], (self.beside * self.diagonal[:-1])[::-1])
        own = 1.0 / (self.diagonal + downwards[::-1] - whole)
        weighted = self.weight * curve
        right = np.zeros(curve.size)
        right[:-1] = -self.beside * own[1:] * weighted[1:] * self.diagonal[:-1]
        right[1:] += self.beside * right[:-1]
        later = self.inner(right)
        sums = weighted * (curve - 2 * later - weighted * own)
        return TailProducts(np.cumsum(sums[::-1])[::-1], -self.weight * later, self.weight - self.weight**2 * own)


@dataclass(frozen=True, slots=True)
class TailProducts:
    """Products with an inverse covariance Ω⁻¹, of the tails of a curve c: c set to zero before each index j.

    own : c[j:]ᵀ Ω⁻¹ c[j:]
    with_value_before : eⱼᵀ Ω⁻¹ c[j+1:], with the single value at index j
    of_value : the diagonal of Ω⁻¹
    """

    own: Floats
    with_value_before: Floats
    of_value: Floats


def correlated_precisions(noise: NoiseModel, autocorrelations: Sequence[float]) -> list[CorrelatedPrecision]:
    """The autocorrelated part alone, for each lag-one autocorrelation (0 to below 1)."""
    logs = np.array([[math.log(max(autocorrelation, 1e-9))] for autocorrelation in autocorrelations])
    rho = np.exp(logs * noise.spacing)
    left = 1.0 - rho * rho
    share = rho / left
    inverse = 1.0 / noise.correlated
    diagonal = np.ones((len(logs), inverse.size))
    diagonal[:, 1:] = 1.0 / left
    diagonal[:, :-1] += rho * share
    diagonal *= inverse * inverse
    beside = -share * (inverse[1:] * inverse[:-1])
    log_det = np.log(left).sum(axis=1) - 2 * np.log(inverse).sum()
    return [CorrelatedPrecision(*of_one) for of_one in zip(diagonal, beside, log_det.tolist(), strict=True)]


def with_independent(precision: CorrelatedPrecision, weight: Floats, log_weight: float) -> Whitener:
    """The whole inverse covariance; `weight` is 1/variance of the independent part, log_weight its summed log."""
    factor, beside, _ = dpttrf(precision.diagonal + weight, precision.beside)
    return Whitener(weight, factor, beside, float(np.log(factor).sum()) - log_weight + precision.log_det)


def whiteners(noise: NoiseModel, autocorrelations: Sequence[float]) -> list[Whitener]:
    """The inverse covariance of the noise for each lag-one autocorrelation (0 to below 1)."""
    weight = 1.0 / noise.independent**2
    log_weight = float(np.log(weight).sum())
    return [
        with_independent(precision, weight, log_weight) for precision in correlated_precisions(noise, autocorrelations)
    ]


def whitener(noise: NoiseModel, autocorrelation: float) -> Whitener:
    """The inverse covariance of the noise for one lag-one autocorrelation."""
    return whiteners(noise, [autocorrelation])[0]
