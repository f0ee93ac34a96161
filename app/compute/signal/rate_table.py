"""Table of the posterior over the rate of an exponential and the unknown noise parameters.

For one rate k, one autocorrelation φ and one share of rounding the model C(t) = C0 − s (1 − exp(−k t))/k is
linear in the level C0 and the slope s, the background being Cb = C0 − s/k. Level, slope and the scale of the
noise are integrated out in closed form (flat prior on C0 and Cb, 1/σ on the scale); the background is constrained
by what is known of it.
"""

import math
from dataclasses import dataclass
from functools import cache
from typing import NamedTuple

import numpy as np
from scipy.linalg.lapack import dpotrf, dtrtrs
from scipy.special import ndtr

from app.compute.signal.autocorrelation import NoiseRows
from app.compute.signal.noise import Floats
from app.compute.signal.noise_settings import BlockNoise, NoiseSettings, flicker_covariance

# Shares of the largest autocorrelation that is considered.
AUTOCORRELATION_SHARES = np.array([0.0, 0.33, 0.55, 0.7, 0.82, 0.9, 0.96, 1.0])
# Longest correlation time considered: two fifths of the window, or 50 values where that is more, because slower noise
# cannot be distinguished from the curve. With few values only a quarter of them: a longer time would make nearly any
# rate possible.
LONGEST_SHARE, LONGEST_VALUES = 0.4, 50.0
LONGEST_SHARE_FEW, FEW_VALUES = 0.25, 15
NODES = 6  # Chebyshev nodes that represent all rates of a narrow table
NARROW = 1.2  # widest table, in rate times time, for which they suffice (error below 1e-5)
# For a table that is part of the range of its nodes, at most half of it: no larger an error.
NODES_OF_SEARCH = 8
BACKGROUND_PIECES = 6
_PIECES = np.concatenate([[0.0], 2.0 ** -np.arange(BACKGROUND_PIECES - 1, -1, -1)])
_OVER_PIECES = 1.0 / np.diff(_PIECES)


# A drift is usually small and sometimes large: probability, and standard deviation over the usual one.
DRIFT_PARTS = ((0.75, 1.0), (0.25, 7.0))
_LOG_SHARES = [math.log(share) for share, _ in DRIFT_PARTS]


@dataclass(frozen=True, slots=True)
class BackgroundBounds:
    """Constraint on the background: between `low` and `high`, and `given` ± `given_uncertainty` if known.

    drift_per_h : standard deviation of a usual steady drift of the background, 0 for none [unit of the channel per h]
    """

    low: float
    high: float
    given: float | None = None
    given_uncertainty: float = 0.0
    drift_per_h: float = 0.0


def possible_autocorrelations(count: int) -> Floats:
    """Grid of lag-one autocorrelations that `count` values can distinguish from a curve.

    >>> possible_autocorrelations(100).round(2)[[0, -1]]
    array([0.  , 0.98])
    """
    longest = LONGEST_SHARE_FEW * count
    if count >= FEW_VALUES:
        longest = min(max(LONGEST_SHARE * count, LONGEST_VALUES), float(count))
    possible: Floats = AUTOCORRELATION_SHARES * math.exp(-1 / longest)
    return possible


@dataclass(frozen=True, slots=True)
class RateSums:
    """What the likelihood of any rate in a range follows from: the sums of products, weighted by each setting of the
    noise, of one, the levels, the curves of some rates and, where the background drifts, time.

    rates : of the curves
    between : whether rates between these can be interpolated: they are Chebyshev nodes of a narrow range
    count : number of levels
    """

    rates: Floats
    between: bool
    sums: Floats
    log_det: Floats
    count: int

    def of_rows(self, rows: list[int]) -> "RateSums":
        """Under some of the settings."""
        return RateSums(self.rates, self.between, self.sums[rows], self.log_det[rows], self.count)


def is_narrow(rates: Floats, span_h: float) -> bool:
    """Whether a few nodes represent all of these rates."""
    return 0 < (rates[-1] - rates[0]) * span_h <= NARROW and rates.size > NODES


def rate_sums(
    rates: Floats, time: Floats, level: Floats, noise: BlockNoise, bounds: BackgroundBounds, settings: NoiseSettings,
    *, nodes: int = NODES, few: bool = False,
) -> RateSums:  # fmt: skip
    """Sums for these rates or, where they are narrow, for so many nodes of their range; `few` leaves out flicker."""
    between = is_narrow(rates, float(time[-1]))
    if between:
        rates = 0.5 * (rates[0] + rates[-1]) + 0.5 * (rates[-1] - rates[0]) * _cosines_and_signs(nodes)[0]
    drifts = bounds.drift_per_h > 0
    columns = np.empty((time.size, rates.size + 2 + drifts), order="F")
    columns[:, 0], columns[:, 1], columns[:, 2 : 2 + rates.size] = 1.0, level, -growth(rates, time)
    if drifts:
        columns[:, -1] = time
    return RateSums(rates, between, *products(columns, noise, settings, few), time.size)


def log_probability(rates: Floats, of: RateSums, bounds: BackgroundBounds) -> Floats:
    """Log likelihood of each rate (columns) for each setting of the noise (rows)."""
    sums, log_det = of.sums, of.log_det
    drifts = bounds.drift_per_h > 0
    if drifts:  # with the usual and with the large drift below one another
        both = [_without_drift(sums, log_det, size * bounds.drift_per_h) for _, size in DRIFT_PARTS]
        sums, log_det = (np.concatenate(each) for each in zip(*both, strict=True))
    one_one, one_y, y_y = sums[:, 0, 0, None], sums[:, 0, 1, None], sums[:, 1, 1, None]
    one_g, y_g = sums[:, 0, 2:], sums[:, 1, 2:]
    if of.between:
        weights = _interpolation(rates, of.rates)
        pairs = (weights[:, None] * weights).reshape(-1, rates.size)
        g_g = sums[:, 2:, 2:].reshape(len(sums), -1) @ pairs
        one_g, y_g = one_g @ weights, y_g @ weights
    else:
        g_g = np.einsum("pii->pi", sums[:, 2:, 2:])
    table = _integrated(rates, of.count, bounds, _Sums(one_one, one_y, y_y, one_g, y_g, g_g, log_det))
    if not drifts:
        return table
    usual, large = table.reshape(2, -1, rates.size)
    result: Floats = np.logaddexp(usual + _LOG_SHARES[0], large + _LOG_SHARES[1])
    return result


def _without_drift(sums: Floats, log_det: Floats, drift_per_h: float) -> tuple[Floats, Floats]:
    r"""Integrates a drift of the background, the last column t, over its normal prior.

    .. math:: X^T \Omega_d^{-1} X = X^T \Omega^{-1} X - \frac{b\,b^T}{t^T \Omega^{-1} t + 1/\sigma_d^2},
              \quad b = X^T \Omega^{-1} t, \quad
              \det \Omega_d = \det \Omega\,(1 + \sigma_d^2\,t^T \Omega^{-1} t)
    """
    kept, across, own = sums[:, :-1, :-1], sums[:, :-1, -1], sums[:, -1, -1]
    share = drift_per_h**2 / (1 + drift_per_h**2 * own)
    kept = kept - share[:, None, None] * across[:, :, None] * across[:, None, :]
    return kept, log_det + np.log1p(drift_per_h**2 * own)[:, None]


def products(columns: Floats, noise: BlockNoise, settings: NoiseSettings, few: bool) -> tuple[Floats, Floats]:
    """columnsᵀ Ω⁻¹ columns and log det Ω for each setting of the noise; `few` leaves out flicker."""
    first = 1 if few else 2
    sums = np.empty((first + settings.neighbours.size, columns.shape[1], columns.shape[1]))
    log_det = np.empty((len(sums), 1))
    variance = noise.proportional**2 + noise.floor**2 + noise.rounding**2
    sums[0], log_det[0] = columns.T @ (columns / variance[:, None]), np.log(variance).sum()
    if not few:
        # the transpose of a symmetric matrix is the same, in the order of LAPACK
        root, _ = dpotrf(flicker_covariance(noise, settings.block_s).T, lower=1, clean=0, overwrite_a=1)
        solved, _ = dtrtrs(root, columns, lower=1)
        sums[1], log_det[1] = solved.T @ solved, 2 * np.log(root.diagonal()).sum()
    variances = noise.variances(settings.mixtures, settings.neighbours)
    autocorrelations = np.concatenate([settings.autocorrelations] * len(settings.mixtures))
    correlated, independent = (each.reshape(-1, len(columns)) for each in variances)
    rows = NoiseRows(correlated, independent, autocorrelations, settings.neighbours.ravel(), noise.spacing)
    sums[first:], log_det[first:, 0] = rows.products(columns)
    return sums, log_det


class _Sums(NamedTuple):
    """Weighted sums of products of one, the level y and the curve g, and the log determinant of the weights."""

    one_one: Floats
    one_y: Floats
    y_y: Floats
    one_g: Floats
    y_g: Floats
    g_g: Floats
    log_det: Floats


def _integrated(rates: Floats, count: int, bounds: BackgroundBounds, sums: _Sums) -> Floats:
    one_one, one_y, y_y, one_g, y_g, g_g, log_det = sums
    k = np.where(np.abs(rates) < 1e-9, 1e-9, rates)
    dof = max(count - 2, 1)
    det = np.maximum(one_one * g_g - one_g**2, 1e-300)
    first = (g_g * one_y - one_g * y_g) / det
    slope = (one_one * y_g - one_g * one_y) / det
    rss = np.maximum(y_y - first * one_y - slope * y_g, 1e-3 * count)
    variance = np.maximum(g_g + 2 * one_g / k + one_one / k**2, 0.0) / det * rss / dof
    of_rate = np.log(np.abs(k))
    if bounds.given is None:
        # a rate that does not constrain the background: uniform over orders of magnitude
        of_rate += np.log(np.maximum(np.abs(k), 0.05))
    table = log_agreement(first - slope / k, variance, bounds)
    table -= 0.5 * (np.log(det) + dof * np.log(rss) + log_det) + of_rate
    return table


def log_agreement(background: Floats, variance: Floats, bounds: BackgroundBounds) -> Floats:
    """Log likelihood of a background with this variance under what is known of it.

    Where it was not measured before the smoke, uniform over orders of magnitude up to the highest possible.
    """
    se = np.sqrt(np.maximum(variance, 1e-300))
    if bounds.given is not None:
        known = bounds.given_uncertainty**2
        total = variance + known
        far = -0.5 * (background - bounds.given) ** 2 / total - 0.5 * np.log(total)
        background = (background * known + bounds.given * variance) / total
        se = np.sqrt(variance * known / total)
        inside = ndtr((bounds.high - background) / se) - ndtr((bounds.low - background) / se)
        agreement: Floats = far + np.log(np.maximum(inside, 1e-30))
        return agreement
    span = bounds.high - bounds.low
    edges = bounds.low + span * _PIECES
    below = edges[:, None, None] - background
    below /= se
    ndtr(below, out=below)
    pieces = (below[1:] - below[:-1]).reshape(BACKGROUND_PIECES, -1)
    even: Floats = np.log(np.maximum(_OVER_PIECES @ pieces / span, 1e-30)).reshape(se.shape)
    return even


def growth(rates: Floats, time: Floats) -> Floats:
    """(1 − exp(−k t))/k, one column for each rate; t where k is zero."""
    safe = np.where(np.abs(rates) < 1e-9, 1e-9, rates)
    result: Floats = -np.expm1(-np.minimum(np.maximum(time[:, None] * safe, -50.0), 700.0)) / safe
    return result


@cache
def _cosines_and_signs(nodes: int) -> tuple[Floats, Floats]:
    places = np.arange(float(nodes))
    angles = np.pi * (places + 0.5) / nodes
    signs: Floats = (-1.0) ** places * np.sin(angles)
    return np.cos(angles), signs


def _interpolation(rates: Floats, nodes: Floats) -> Floats:
    """Interpolation weights from Chebyshev nodes to the rates."""
    gaps = rates - nodes[:, None]
    gaps[np.abs(gaps) < 1e-14 * max(abs(float(rates[-1])), math.ulp(1.0))] = 1e-14
    terms = _cosines_and_signs(nodes.size)[1][:, None] / gaps
    weights: Floats = terms / terms.sum(axis=0)
    return weights
