"""Autocorrelated noise: the lag-one coefficient, and sums weighted by the inverse noise covariance."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.linalg.lapack import dpttrf, dpttrs

from app.compute.signal.noise import Floats, NoiseModel


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


@dataclass(frozen=True, slots=True)
class NoiseRows:
    """Noise of the same values under several settings, one row for each (or one row for all): standard deviation of the
    autocorrelated part, 1/variance of the independent part, and the lag-one autocorrelation (0 to below 1); spacing as
    in NoiseModel."""

    correlated: Floats
    weight: Floats
    autocorrelations: Floats
    spacing: Floats

    def systems(self) -> tuple[Floats, Floats, Floats]:
        """Diagonal of T of each row, the line beside it, and log det Ω without the part of T."""
        rho = np.exp(np.log(np.maximum(self.autocorrelations, 1e-9))[:, None] * self.spacing)
        left = 1.0 - rho * rho
        share = rho / left
        inverse = 1.0 / self.correlated
        diagonal = np.ones((rho.shape[0], self.correlated.shape[1]))
        diagonal[:, 1:] = 1.0 / left
        diagonal[:, :-1] += rho * share
        diagonal *= inverse * inverse
        diagonal += self.weight
        beside = -share * (inverse[:, 1:] * inverse[:, :-1])
        log_det = np.log(left).sum(axis=1) - np.log(inverse * inverse * self.weight).sum(axis=1)
        return diagonal, beside, log_det

    def products(self, columns: Floats) -> tuple[Floats, Floats]:
        """columnsᵀ Ω⁻¹ columns and log det Ω of each row, with all rows as one long system."""
        rows, count = self.correlated.shape
        diagonal, beside, log_det = self.systems()
        joined = np.zeros((rows, count))
        joined[:, :-1] = beside
        factor, off, _ = dpttrf(diagonal.ravel(), joined.ravel()[:-1])
        weighted = self.weight[:, :, None] * columns
        solved, _ = dpttrs(factor, off, weighted.reshape(rows * count, -1))
        sums: Floats = weighted.transpose(0, 2, 1) @ (columns - solved.reshape(weighted.shape))
        return sums, log_det + np.log(factor).reshape(rows, count).sum(axis=1)


def whiteners(noise: NoiseModel, autocorrelations: Sequence[float]) -> list[Whitener]:
    """The inverse covariance of the noise for each lag-one autocorrelation (0 to below 1)."""
    weight = 1.0 / noise.independent**2
    rows = NoiseRows(noise.correlated[None, :], weight[None, :], np.array(autocorrelations, dtype=float), noise.spacing)
    result = []
    for diagonal, beside, log_det in zip(*rows.systems(), strict=True):
        factor, off, _ = dpttrf(diagonal, beside)
        result.append(Whitener(weight, factor, off, float(np.log(factor).sum() + log_det)))
    return result


def whitener(noise: NoiseModel, autocorrelation: float) -> Whitener:
    """The inverse covariance of the noise for one lag-one autocorrelation."""
    return whiteners(noise, [autocorrelation])[0]
