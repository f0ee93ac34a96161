"""Autocorrelated noise: the lag-one coefficient, and sums weighted by the inverse noise covariance.

`NoiseRows` has the covariance of means over blocks, for the likelihood of a rate; `Whitener` a first-order series,
whose columns can be changed one at a time.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.linalg.lapack import dpttrf, dpttrs, dtbtrs

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

    def times(self, columns: Floats) -> Floats:
        """Ω⁻¹ times each column."""
        weighted = self.weight[:, None] * columns
        solved, _ = dpttrs(self.diagonal, self.beside, weighted)
        result: Floats = weighted - self.weight[:, None] * solved
        return result


@dataclass(frozen=True, slots=True)
class Whiteners:
    """The same for several autocorrelations, whose systems are one long one; `log_det` is log det Ω of each."""

    weight: Floats
    diagonal: Floats
    beside: Floats
    log_det: Floats

    def inner(self, weighted: Floats) -> Floats:
        """T⁻¹ times each column: autocorrelation, value, column."""
        repeated = np.concatenate([weighted.T] * self.log_det.size, axis=1)
        solved, _ = dpttrs(self.diagonal, self.beside, repeated.T, overwrite_b=1)
        result: Floats = solved.T.reshape(-1, self.log_det.size, self.weight.size).transpose(1, 2, 0)
        return result

    def times(self, columns: Floats) -> Floats:
        """Ω⁻¹ times each column: autocorrelation, value, column."""
        weighted = self.weight[:, None] * columns
        result: Floats = weighted - self.weight[:, None] * self.inner(weighted)
        return result

    def own_products(self, weighted: Floats) -> Floats:
        """Each column times T⁻¹ times itself: autocorrelation, column.

        With T = L D Lᵀ that is the sum of the squares of L⁻¹ times the column over D. All columns take each step at
        once, which for many of them is faster than LAPACK, whose steps wait for one another.
        """
        settings, count = self.log_det.size, self.weight.size
        over = np.empty((count, settings, weighted.shape[1]))
        over[:] = weighted[:, None, :]
        below = np.zeros(self.diagonal.size)
        below[1:] = self.beside
        factors = np.ascontiguousarray(below.reshape(settings, count).T)[:, :, None]
        step = np.empty(over.shape[1:])
        for factor, before, here in zip(factors[1:], over[:-1], over[1:], strict=True):
            np.multiply(before, factor, step)
            np.subtract(here, step, here)
        over *= np.sqrt(1.0 / self.diagonal).reshape(settings, count).T[:, :, None]
        found: Floats = np.einsum("isk,isk->sk", over, over)
        return found

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
        right = np.zeros(whole.size)
        right[:-1] = -self.beside * own[1:] * np.concatenate([weighted] * self.log_det.size)[1:] * self.diagonal[:-1]
        right[1:] += self.beside * right[:-1]
        solved, _ = dpttrs(self.diagonal, self.beside, right)
        later, own = (each.reshape(self.log_det.size, -1) for each in (solved, own))
        sums = weighted * (curve - 2 * later - weighted * own)
        return TailProducts(
            sums[:, ::-1].cumsum(axis=1)[:, ::-1], -self.weight * later, self.weight - self.weight**2 * own
        )


@dataclass(frozen=True, slots=True)
class TailProducts:
    """Products with an inverse covariance Ω⁻¹, of the tails of a curve c: c set to zero before each index j.

    A row for each covariance.

    own : c[j:]ᵀ Ω⁻¹ c[j:]
    with_value_before : eⱼᵀ Ω⁻¹ c[j+1:], with the single value at index j
    of_value : the diagonal of Ω⁻¹
    """

    own: Floats
    with_value_before: Floats
    of_value: Floats


@dataclass(frozen=True, slots=True)
class NoiseRows:
    r"""Noise of block means under several settings, one row for each: variance of the part with a memory and of the
    independent part, the autocorrelation φ over one block, and the correlation ρ1 of neighbouring means; spacing as in
    NoiseModel, one or more.

    Means of noise with the correlation exp(−t/τ) have the correlation ρ1 φ^(d−1) at a distance of d blocks. With S the
    standard deviations, B the filter that takes φ^d times the value before from each value, and N the independent
    variance over that of the other part,

    .. math:: \Omega = S B^{-1} W B^{-T} S, \quad
              W_{ii} = 1 + N_i + \varphi_i^2 (1 - 2c + N_{i-1}), \quad
              W_{i,i+1} = \varphi_{i+1} (c - 1 - N_i), \quad c = \rho_1/\varphi

    W is tri-diagonal, so a product with the inverse takes linear time.
    """

    correlated: Floats
    independent: Floats
    autocorrelations: Floats
    neighbours: Floats
    spacing: Floats

    def some(self, places: list[int]) -> "NoiseRows":
        """Some of the settings."""
        kept = self.correlated[places], self.independent[places], self.autocorrelations[places]
        return NoiseRows(*kept, self.neighbours[places], self.spacing)

    def model(self, place: int) -> NoiseModel:
        """One of the settings, as noise whose correlation is of a first-order series."""
        return NoiseModel(np.sqrt(self.correlated[place]), np.sqrt(self.independent[place]), self.spacing)

    def products(self, columns: Floats) -> tuple[Floats, Floats]:
        """columnsᵀ Ω⁻¹ columns and log det Ω of each row, with all rows as one long system."""
        rows, count = self.correlated.shape
        kept = np.maximum(self.autocorrelations, 1e-9)[:, None]
        phi, over = np.exp(np.log(kept) * self.spacing), self.neighbours[:, None] / kept - 1.0
        inverse = 1.0 / self.correlated
        alone = self.independent * inverse
        diagonal = 1.0 + alone
        diagonal[:, 1:] += phi * phi * (alone[:, :-1] - (1.0 + 2.0 * over))
        beside = np.zeros((rows, count))
        beside[:, :-1] = phi * (over - alone[:, :-1])
        factor, off, _ = dpttrf(diagonal.ravel(), beside.ravel()[:-1])
        # with W = L D Lᵀ a product is zᵀz of z = D^(-1/2) L⁻¹ B S⁻¹ x, so half of the solving is enough
        root = np.sqrt(factor)
        weight = np.sqrt(inverse)
        before = np.zeros((rows, count))
        before[:, 1:] = phi * weight[:, :-1]
        repeated = np.empty((columns.shape[1], rows * count))
        repeated.reshape(-1, rows, count)[:] = columns.T[:, None, :]
        scaled = repeated * (weight.ravel() / root)
        earlier = repeated[:, :-1]
        earlier *= before.ravel()[1:] / root[1:]
        scaled[:, 1:] -= earlier
        bands = np.empty((2, root.size), order="F")  # the first, of ones, is not read
        bands[1, :-1] = off * root[:-1] / root[1:]
        solved, _ = dtbtrs(bands, scaled.T, uplo="L", diag="U", overwrite_b=1)
        apart = solved.T.reshape(-1, rows, count)
        sums: Floats = apart.transpose(1, 0, 2) @ apart.transpose(1, 2, 0)
        return sums, np.log(self.correlated * factor.reshape(rows, count)).sum(axis=1)


def whiteners(noise: NoiseModel, autocorrelations: Sequence[float]) -> Whiteners:
    """The inverse covariance of the noise for each lag-one autocorrelation (0 to below 1)."""
    rho, left, share = _correlations(noise, np.array(autocorrelations)[:, None])
    weight, inverse = 1.0 / noise.independent**2, 1.0 / noise.correlated
    squares = inverse * inverse
    diagonal = np.ones((rho.shape[0], inverse.size))
    diagonal[:, 1:] = 1.0 / left
    diagonal[:, :-1] += rho * share
    diagonal *= squares
    diagonal += weight
    beside = np.zeros(diagonal.shape)
    beside[:, :-1] = -share * (inverse[1:] * inverse[:-1])
    factor, off, _ = dpttrf(diagonal.ravel(), beside.ravel()[:-1])
    log_det = np.log(factor).reshape(diagonal.shape).sum(axis=1) + np.log(left).sum(axis=1)
    return Whiteners(weight, factor, off, log_det - np.log(squares * weight).sum())


def _correlations(noise: NoiseModel, autocorrelation: Floats | float) -> tuple[Floats, Floats, Floats]:
    """Correlation ρ of each value with the one before, 1 − ρ², and ρ over that."""
    rho = np.exp(np.log(np.maximum(autocorrelation, 1e-9)) * noise.spacing)
    left = 1.0 - rho * rho
    return rho, left, rho / left


def whiteners_of_parts(noise: NoiseModel, autocorrelation: float, parts: Sequence[slice]) -> list[Whitener]:
    """The inverse covariance of each part of the values, for one lag-one autocorrelation."""
    rho, left, share = _correlations(noise, autocorrelation)
    weight, inverse = 1.0 / noise.independent**2, 1.0 / noise.correlated
    squares = inverse * inverse
    # of a value with its neighbours, in units of `squares`
    before, after = np.ones(inverse.size), np.zeros(inverse.size)
    before[1:], after[:-1] = 1.0 / left, rho * share
    both, beside = before + after, -share * (inverse[1:] * inverse[:-1])
    found = []
    for part in parts:
        last = part.stop - 1
        of_part = both[part].copy()
        of_part[0], of_part[-1] = 1.0 + after[part.start], before[last]
        factor, off, _ = dpttrf(of_part * squares[part] + weight[part], beside[part.start : last])
        found.append(Whitener(weight[part], factor, off))
    return found


def whitener(noise: NoiseModel, autocorrelation: float) -> Whitener:
    """The inverse covariance of the noise for one lag-one autocorrelation."""
    return whiteners_of_parts(noise, autocorrelation, [slice(0, noise.correlated.size)])[0]
