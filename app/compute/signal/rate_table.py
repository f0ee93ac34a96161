"""Table of the posterior over the rate of an exponential and the unknown noise parameters.

For one rate k, one autocorrelation φ and one share of rounding the model C(t) = C0 − s (1 − exp(−k t))/k is
linear in the level C0 and the slope s, the background being Cb = C0 − s/k. Level, slope and the scale of the
noise are integrated out in closed form (flat prior on C0 and Cb, 1/σ on the scale); the background is constrained
by what is known of it.
"""

import math
from dataclasses import dataclass
from functools import cache

import numpy as np
from scipy.linalg.lapack import dpotrf, dtrtrs
from scipy.special import ndtr

from app.compute.signal.autocorrelation import NoiseRows
from app.compute.signal.noise import Floats
from app.compute.signal.noise_settings import BlockNoise, flicker_covariance

# Shares of the largest autocorrelation that is considered.
AUTOCORRELATION_SHARES = np.array([0.0, 0.33, 0.55, 0.7, 0.82, 0.9, 0.96, 1.0])
# Longest correlation time considered: two fifths of the window, or 50 values where that is more, because slower noise
# cannot be distinguished from the curve. With few values only a quarter of them: a longer time would make nearly any
# rate possible.
LONGEST_SHARE, LONGEST_VALUES = 0.4, 50.0
LONGEST_SHARE_FEW, FEW_VALUES = 0.25, 15
# Chebyshev nodes that represent all rates of a narrow range, and the widest range, in rate times time, for which so
# many suffice: the error of a log probability that counts stays below 1e-5 in the ranges that a fit considers.
NODES_OF_WIDTHS = ((6, 0.6), (7, 1.0), (8, 1.2))
BACKGROUND_PIECES = 6
CERTAIN = 12.0  # standard deviations; a normal probability of 2e-33
_PIECES = np.concatenate([[0.0], 2.0 ** -np.arange(BACKGROUND_PIECES - 1, -1, -1)])
_OVER_PIECES = 1.0 / np.diff(_PIECES)


# A drift is usually small and sometimes large: probability, and standard deviation over the usual one.
DRIFT_PARTS = ((0.75, 1.0), (0.25, 7.0))
_LOG_SHARES = np.log([share for share, _ in DRIFT_PARTS])[:, None, None]
_DRIFT_SIZES = np.array([size for _, size in DRIFT_PARTS])[:, None]


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
    """What the likelihood of any rate in a range follows from, under no drift of the background or each size of it
    (first axis) and each setting of the noise (second axis).

    rates : of the curves
    between : whether rates between these can be interpolated: they are Chebyshev nodes of a narrow range
    count : number of levels
    weight : sum of the weights
    mean : weighted means of the levels and of the curve of each rate
    about : weighted sums of the products of these about their means
    log_det : log determinant of the covariance
    """

    rates: Floats
    between: bool
    count: int
    weight: Floats
    mean: Floats
    about: Floats
    log_det: Floats

    def of_rows(self, rows: list[int]) -> "RateSums":
        """Under some of the settings."""
        kept = (each.take(rows, axis=1) for each in (self.weight, self.mean, self.about, self.log_det))
        return RateSums(self.rates, self.between, self.count, *kept)


def nodes_needed(rates: Floats, span_h: float) -> int | None:
    """How many nodes represent all of these rates; None where they are wide, or as few themselves."""
    width = float(rates[-1] - rates[0]) * span_h
    for nodes, widest in NODES_OF_WIDTHS:
        if 0 < width <= widest and rates.size > nodes:
            return nodes
    return None


def rate_sums(
    rates: Floats, time: Floats, level: Floats, noise: BlockNoise, bounds: BackgroundBounds, rows: NoiseRows,
    flicker_of_s: float | None,
) -> RateSums:  # fmt: skip
    """Sums for these rates or, where they are narrow, for some nodes of their range. Noise as for `products`."""
    nodes = nodes_needed(rates, float(time[-1]))
    if nodes is None:
        return sums_of_curves(rates, False, time, level, noise, bounds, rows, flicker_of_s)
    rates = 0.5 * (rates[0] + rates[-1]) + 0.5 * (rates[-1] - rates[0]) * _cosines_and_signs(nodes)[0]
    return sums_of_curves(rates, True, time, level, noise, bounds, rows, flicker_of_s)


def sums_of_curves(
    rates: Floats, between: bool, time: Floats, level: Floats, noise: BlockNoise, bounds: BackgroundBounds,
    rows: NoiseRows, flicker_of_s: float | None,
) -> RateSums:  # fmt: skip
    """Sums for the curves of these rates, which are nodes if others `between` are to be interpolated."""
    drifts = bounds.drift_per_h > 0
    columns = np.empty((time.size, rates.size + 2 + drifts), order="F")
    columns[:, 0], columns[:, 1], columns[:, 2 : 2 + rates.size] = 1.0, level, -growth(rates, time)
    if drifts:
        columns[:, -1] = time
    sums, log_det = (each[None] for each in products(columns, noise, rows, flicker_of_s))
    if drifts:
        sums, log_det = _without_drift(sums, log_det, _DRIFT_SIZES * bounds.drift_per_h)
    weight = sums[..., 0, 0, None]
    mean = sums[..., 0, 1:] / weight
    about = sums[..., 1:, 1:] - mean[..., :, None] * sums[..., 0, None, 1:]
    return RateSums(rates, between, time.size, weight, mean, about, log_det)


def log_probability(rates: Floats, of: RateSums, bounds: BackgroundBounds, weights: Floats | None = None) -> Floats:
    """Log likelihood of each rate (columns) for each setting of the noise (rows).

    weights : of the interpolation between nodes, where they are known
    """
    mean_g, y_g, g_g = of.mean[..., 1:], of.about[..., 0, 1:], of.about[..., 1:, 1:]
    if of.between:
        weights = _interpolation(rates, of.rates) if weights is None else weights
        pairs = (weights[:, None] * weights).reshape(-1, rates.size)
        g_g = g_g.reshape(*g_g.shape[:2], -1) @ pairs
        mean_g, y_g = mean_g @ weights, y_g @ weights
    else:
        g_g = np.einsum("dpii->dpi", g_g)
    k = _not_zero(rates)
    dof = max(of.count - 2, 1)
    g_g = np.maximum(g_g, 1e-300)
    slope = y_g / g_g
    rss = np.maximum(of.about[..., 0, :1] - slope * y_g, 1e-3 * of.count)
    far = mean_g + 1.0 / k  # the background is C0 − s/k
    variance = (far * far / g_g + 1.0 / of.weight) * rss / dof
    speed = np.abs(k)
    # a rate that does not constrain the background: uniform over orders of magnitude
    of_rate = np.log(speed if bounds.given is not None else speed * np.maximum(speed, 0.05))
    table = log_agreement(of.mean[..., :1] - slope * far, variance, bounds)
    table -= 0.5 * (np.log(g_g) + dof * np.log(rss) + (np.log(of.weight) + of.log_det)) + of_rate
    if len(table) == 1:
        only: Floats = table[0]
        return only
    either: Floats = np.logaddexp(*(table + _LOG_SHARES))
    return either


def _without_drift(sums: Floats, log_det: Floats, drift_per_h: Floats) -> tuple[Floats, Floats]:
    r"""Integrates a drift of the background, the last column t, over its normal prior.

    .. math:: X^T \Omega_d^{-1} X = X^T \Omega^{-1} X - \frac{b\,b^T}{t^T \Omega^{-1} t + 1/\sigma_d^2},
              \quad b = X^T \Omega^{-1} t, \quad
              \det \Omega_d = \det \Omega\,(1 + \sigma_d^2\,t^T \Omega^{-1} t)
    """
    kept, across, own = sums[..., :-1, :-1], sums[..., :-1, -1], sums[..., -1, -1]
    variance = drift_per_h**2
    share = variance / (1 + variance * own)
    kept = kept - (share[..., None] * across)[..., None] * across[..., None, :]
    return kept, log_det + np.log1p(variance * own)[..., None]


def products(columns: Floats, noise: BlockNoise, rows: NoiseRows, flicker_of_s: float | None) -> tuple[Floats, Floats]:
    """columnsᵀ Ω⁻¹ columns and log det Ω for noise without memory, flicker, and each row of noise with a memory.

    flicker_of_s : length of a block [s]; None leaves flicker out
    """
    first = 1 if flicker_of_s is None else 2
    sums = np.empty((first + rows.neighbours.size, columns.shape[1], columns.shape[1]))
    log_det = np.empty((len(sums), 1))
    variance = noise.proportional**2 + noise.floor**2 + noise.rounding**2
    sums[0], log_det[0] = columns.T @ (columns / variance[:, None]), np.log(variance).sum()
    if flicker_of_s is not None:
        # the transpose of a symmetric matrix is the same, in the order of LAPACK
        root, _ = dpotrf(flicker_covariance(noise, flicker_of_s).T, lower=1, clean=0, overwrite_a=1)
        solved, _ = dtrtrs(root, columns / noise.proportional[:, None], lower=1, overwrite_b=1)
        sums[1], log_det[1] = solved.T @ solved, 2 * np.log(root.diagonal() * noise.proportional).sum()
    sums[first:], log_det[first:, 0] = rows.products(columns)
    return sums, log_det


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
    below = ((edges[:, None] - background.ravel()) / se.ravel()).ravel()
    # most edges are far from the background, on one side of it for certain
    near = (np.abs(below) < CERTAIN).nonzero()[0]
    probability = (below > 0) * 1.0
    probability.put(near, ndtr(below.take(near)))
    by_edge = probability.reshape(edges.size, -1)
    density = (_OVER_PIECES / span) @ (by_edge[1:] - by_edge[:-1])
    even: Floats = np.log(np.maximum(density, 1e-30)).reshape(se.shape)
    return even


def growth(rates: Floats, time: Floats) -> Floats:
    """(1 − exp(−k t))/k, one column for each rate; t where k is zero."""
    safe = _not_zero(rates)
    result: Floats = -np.expm1(-np.minimum(np.maximum(time[:, None] * safe, -50.0), 700.0)) / safe
    return result


def _not_zero(rates: Floats) -> Floats:
    small = np.abs(rates) < 1e-9
    return np.where(small, 1e-9, rates) if small.any() else rates


@cache
def _cosines_and_signs(nodes: int) -> tuple[Floats, Floats]:
    places = np.arange(float(nodes))
    angles = np.pi * (places + 0.5) / nodes
    signs: Floats = (-1.0) ** places * np.sin(angles)
    return np.cos(angles), signs


@cache
def weights_over_range(nodes: int, number: int) -> Floats:
    """Interpolation weights from nodes to a number of evenly spaced rates over the whole range of the nodes."""
    return _interpolation(np.linspace(-1.0, 1.0, number), _cosines_and_signs(nodes)[0])


def _interpolation(rates: Floats, nodes: Floats) -> Floats:
    """Interpolation weights from Chebyshev nodes to the rates."""
    gaps = rates - nodes[:, None] + 1e-300  # not zero at a node, whose weight is then one
    terms = _cosines_and_signs(nodes.size)[1][:, None] / gaps
    weights: Floats = terms / terms.sum(axis=0)
    return weights
