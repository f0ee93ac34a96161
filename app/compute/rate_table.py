r"""Table of probability over the rate of an exponential and over what is not known of the noise.

For one rate k, one autocorrelation φ and one share of rounding the model C(t) = C0 − s (1 − exp(−k t))/k is
linear in the level C0 and the slope s, the background being Cb = C0 − s/k. Level, slope and the scale of the
noise are integrated out in closed form (flat prior on C0 and Cb, 1/σ on the scale); the background is held
to what is known of it.
"""

import math
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from app.compute.autocorrelation import NoiseModel, whitener
from app.compute.noise import Floats

AUTOCORRELATIONS = np.array([0.0, 0.3, 0.5, 0.65, 0.77, 0.86, 0.92, 0.96, 0.98, 0.995])
ROUNDING_SHARES = np.array([0.1, 0.3, 1.0])
INDEPENDENT_SHARE = 0.02  # smallest share of independent noise, for a well-conditioned inverse
NODES = 10  # Chebyshev nodes that stand for all rates of a narrow table
NARROW = 4.0  # widest table, in rate times time, for which they do (error below 1e-6)
BACKGROUND_PIECES = 7


@dataclass(frozen=True, slots=True)
class BackgroundBounds:
    """What is known of the background: between `low` and `high`, and `given` ± `given_uncertainty` if known."""

    low: float
    high: float
    given: float | None = None
    given_uncertainty: float = 0.0


def noise_settings(autocorrelations: Floats, rounding_shares: Floats) -> tuple[tuple[float, float], ...]:
    """All pairs of an autocorrelation and a share of the expected rounding error."""
    return tuple((float(phi), float(share)) for share in rounding_shares for phi in autocorrelations)


def log_prior(autocorrelations: Floats) -> Floats:
    """Log prior of each grid value: density 1/(1 − φ), even over the logarithm of the correlation time.

    A flat density would hardly look at noise that drifts through the whole run, and the interval would be
    too narrow where few readings stand against it.
    """
    prior: Floats = np.log(np.gradient(autocorrelations) / (1 - autocorrelations))
    return prior


def log_probability(
    rates: Floats, time: Floats, level: Floats, noise: NoiseModel, bounds: BackgroundBounds,
    settings: tuple[tuple[float, float], ...],
) -> Floats:  # fmt: skip
    """Log probability of each rate (columns) under each noise setting (rows)."""
    weights = _interpolation(rates, float(time[-1]))
    nodes = rates if weights is None else _chebyshev(rates[0], rates[-1])
    columns = np.empty((time.size, nodes.size + 2), order="F")
    columns[:, 0], columns[:, 1], columns[:, 2:] = 1.0, level, -growth(nodes, time)
    sums = np.empty((len(settings), nodes.size + 2, nodes.size + 2)) if weights is not None else None
    parts = np.empty((3, len(settings), nodes.size)) if weights is None else np.empty((0, 0, 0))
    one_one, one_y, y_y, log_det = np.empty((4, len(settings), 1))
    for row, (autocorrelation, rounding_share) in enumerate(settings):
        independent = np.hypot(rounding_share * noise.independent, INDEPENDENT_SHARE * noise.correlated)
        inverse = whitener(NoiseModel(noise.correlated, independent, noise.spacing), autocorrelation)
        solved = inverse.times(columns)
        log_det[row] = inverse.log_det
        if sums is not None:
            sums[row] = columns.T @ solved
        else:
            one_one[row], one_y[row], y_y[row] = solved[:, 0].sum(), solved[:, 1].sum(), level @ solved[:, 1]
            parts[0, row], parts[1, row] = solved[:, 0] @ columns[:, 2:], solved[:, 1] @ columns[:, 2:]
            parts[2, row] = np.einsum("ij,ij->j", columns[:, 2:], solved[:, 2:])
    if sums is not None and weights is not None:
        one_one, one_y, y_y = sums[:, 0, 0, None], sums[:, 0, 1, None], sums[:, 1, 1, None]
        one_g, y_g = sums[:, 0, 2:] @ weights, sums[:, 1, 2:] @ weights
        g_g = np.einsum("pik,ik->pk", sums[:, 2:, 2:] @ weights, weights)
    else:
        one_g, y_g, g_g = parts
    return _integrated(rates, time.size, bounds, one_one, one_y, y_y, one_g, y_g, g_g, log_det)


def _integrated(
    rates: Floats, count: int, bounds: BackgroundBounds, one_one: Floats, one_y: Floats, y_y: Floats, one_g: Floats,
    y_g: Floats, g_g: Floats, log_det: Floats,
) -> Floats:  # fmt: skip
    k = np.where(np.abs(rates) < 1e-9, 1e-9, rates)
    dof = max(count - 2, 1)
    det = np.maximum(one_one * g_g - one_g**2, 1e-300)
    first = (g_g * one_y - one_g * y_g) / det
    slope = (one_one * y_g - one_g * one_y) / det
    rss = np.maximum(y_y - first * one_y - slope * y_g, 1e-3 * count)
    variance = np.maximum(g_g + 2 * one_g / k + one_one / k**2, 0.0) / det * rss / dof
    table: Floats = -0.5 * np.log(det) - 0.5 * dof * np.log(rss) - 0.5 * log_det - np.log(np.abs(k))
    table += log_agreement(first - slope / k, variance, bounds)
    if bounds.given is None:
        # a rate that the background leaves open has no natural size: every order of magnitude alike
        table -= np.log(np.maximum(np.abs(k), 0.05))
    return table


def log_agreement(background: Floats, variance: Floats, bounds: BackgroundBounds) -> Floats:
    """Log of how well a background with this variance agrees with what is known of it.

    Where it was not seen before the smoke, every order of magnitude up to the highest possible counts alike.
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
    edges = bounds.low + span * np.concatenate([[0.0], 2.0 ** -np.arange(BACKGROUND_PIECES - 1, -1, -1)])
    below = ndtr((edges[:, None, None] - background) / se)
    even: Floats = np.log(np.maximum(((below[1:] - below[:-1]) / np.diff(edges)[:, None, None]).sum(axis=0), 1e-30))
    return even


def growth(rates: Floats, time: Floats) -> Floats:
    """(1 − exp(−k t))/k, one column for each rate; t where k is zero."""
    safe = np.where(np.abs(rates) < 1e-9, 1e-9, rates)[None, :]
    result: Floats = -np.expm1(-np.clip(time[:, None] * safe, -50, 700)) / safe
    return result


def _chebyshev(low: float, high: float) -> Floats:
    angles = np.pi * (np.arange(NODES) + 0.5) / NODES
    nodes: Floats = 0.5 * (low + high) + 0.5 * (high - low) * np.cos(angles)
    return nodes


_SIGNS = (-1.0) ** np.arange(NODES) * np.sin(np.pi * (np.arange(NODES) + 0.5) / NODES)


def _interpolation(rates: Floats, span_h: float) -> Floats | None:
    """Weights that turn curves at the Chebyshev nodes into curves at the rates; None where the table is wide."""
    if (rates[-1] - rates[0]) * span_h > NARROW or rates.size <= NODES or rates[-1] <= rates[0]:
        return None
    gaps = rates[None, :] - _chebyshev(rates[0], rates[-1])[:, None]
    gaps = np.where(np.abs(gaps) < 1e-14 * max(abs(rates[-1]), math.ulp(1.0)), 1e-14, gaps)
    terms = _SIGNS[:, None] / gaps
    weights: Floats = terms / terms.sum(axis=0)
    return weights
