r"""Rate of a single exponential towards a background, with an interval that stays right under autocorrelation.

.. math:: C(t) = C_b + A e^{-k t} + \sigma(t)\, e(t), \quad e \text{ an AR(1) series},\quad \sigma^2 \propto C^2 + c_0^2

Given the rate k and the autocorrelation φ the model is linear, so level and slope (and with them the
background) are integrated out in closed form, as is the scale of the noise. What is left is a table of
probability over k and φ; k is read off it after summing over φ. So the interval carries what the readings
leave open about the autocorrelation, instead of trusting one estimate of it.
"""

import math
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr, stdtrit

from app.compute.blocks import Blocks
from app.compute.noise import Floats

AUTOCORRELATIONS = np.array([0.0, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.78, 0.85, 0.9, 0.94, 0.965, 0.98, 0.99])
COARSE_RATES = np.concatenate([-np.geomspace(3.0, 0.01, 8), np.geomspace(0.005, 90.0, 40)])
NEAR_RATE = np.array([-0.1, -0.03, -0.01, -0.003, -0.001, 0.0, 0.001, 0.003, 0.01, 0.03, 0.1])
GRID_POINTS = 49
DROP = 12.0  # grid ends where the logarithm of the probability is this far below its top


@dataclass(frozen=True, slots=True)
class BackgroundBounds:
    """What is known of the background: anywhere between `low` and `high`, or `given` ± `given_uncertainty`."""

    low: float
    high: float
    given: float | None = None
    given_uncertainty: float = 0.0


@dataclass(frozen=True, slots=True)
class ExponentialFit:
    """Rate [1/h], its 95 % half-width and degrees of freedom; level and background at the window's start."""

    rate: float
    uncertainty: float
    degrees_of_freedom: float
    background: float
    amplitude: float
    covariance: Floats
    autocorrelation: float
    spread: float
    sigma: Floats
    residuals: Floats
    at_grid_end: bool


@dataclass(frozen=True, slots=True)
class _Table:
    log_probability: Floats  # K x P
    level: Floats
    slope: Floats


def fit_exponential(
    blocks: Blocks, bounds: BackgroundBounds, step: float, reading_spread: float | None = None
) -> ExponentialFit:
    """Fit block means; the first block's time is the zero of the amplitude. Needs at least four blocks."""
    time = blocks.time_h - blocks.time_h[0]
    level = blocks.level
    curve = np.maximum(level, 0.0)
    sigma = np.maximum(curve, max(0.05 * float(np.max(np.abs(level))), step, 1e-12))
    share = np.sqrt(np.minimum(blocks.full_count / blocks.count, 4.0))
    sigma = sigma * share
    autocorrelation = 0.5
    for _ in range(2):
        rate = _best_rate(time, level, sigma, blocks.spacing, bounds, autocorrelation)
        background, amplitude = _linear_part(time, level, sigma, blocks.spacing, bounds, rate, autocorrelation)
        curve = background + amplitude * np.exp(-rate * time)
        sigma = _noise(level, curve, step, share, reading_spread)
    rates, weight, table = _posterior(time, level, sigma, blocks.spacing, bounds, rate)
    probability = weight.sum(axis=1)
    rate, half_95, half_68 = _middle_and_widths(rates, probability)
    nearest = int(np.argmin(np.abs(rates - rate)))
    by_autocorrelation = weight[nearest] / max(weight[nearest].sum(), 1e-300)
    autocorrelation = float(by_autocorrelation @ AUTOCORRELATIONS)
    dof = _degrees_of_freedom(half_95 / half_68 if half_68 > 0 else 1.96)
    uncertainty = half_95 / float(stdtrit(dof, 0.975))
    background, amplitude = _linear_part(time, level, sigma, blocks.spacing, bounds, rate, autocorrelation)
    curve = background + amplitude * np.exp(-rate * time)
    residuals = (level - curve) / sigma
    spread = math.sqrt(float(residuals @ residuals) / max(level.size - 3, 1))
    covariance = _covariance(time, amplitude, rate, sigma * max(spread, 1e-12), blocks.spacing, bounds, autocorrelation)
    factor = np.ones(3)
    factor[2] = uncertainty / math.sqrt(covariance[2, 2]) if covariance[2, 2] > 0 else 1.0
    covariance = covariance * np.outer(factor, factor)
    return ExponentialFit(
        rate, uncertainty, dof, background, amplitude, covariance, autocorrelation, spread, sigma, residuals,
        at_grid_end=bool(probability[-1] > 0.01 * probability.max()),
    )  # fmt: skip


def _precision(spacing: Floats, autocorrelations: Floats) -> tuple[Floats, Floats, Floats]:
    """Tri-diagonal inverse of the AR(1) correlation matrix, one row for each autocorrelation, and its log det."""
    rho = np.maximum(autocorrelations, 1e-12)[:, None] ** spacing[None, :]
    one = 1.0 / (1.0 - rho**2)
    diagonal = np.ones((autocorrelations.size, spacing.size + 1))
    diagonal[:, 1:] = one
    diagonal[:, :-1] += rho**2 * one
    beside = -rho * one
    return diagonal, beside, -np.log1p(-(rho**2)).sum(axis=1)


def _product(first: Floats, second: Floats, diagonal: Floats, beside: Floats) -> Floats:
    """first' Q second for each row of first and each autocorrelation."""
    straight = (first * second) @ diagonal.T
    crossed = (first[..., 1:] * second[..., :-1] + first[..., :-1] * second[..., 1:]) @ beside.T
    result: Floats = straight + crossed
    return result


def _growth(rates: Floats, time: Floats) -> Floats:
    """(1 − exp(−k t))/k, one row for each rate; t where k is zero."""
    safe = np.where(np.abs(rates) < 1e-9, 1e-9, rates)[:, None]
    return -np.expm1(-np.clip(safe * time[None, :], -50, 700)) / safe


def _table(
    rates: Floats, time: Floats, level: Floats, sigma: Floats, spacing: Floats, bounds: BackgroundBounds,
    autocorrelations: Floats,
) -> _Table:  # fmt: skip
    """Log probability of each rate and autocorrelation, background and scale integrated out."""
    diagonal, beside, log_det = _precision(spacing, autocorrelations)
    one, z = 1.0 / sigma, level / sigma
    w = -_growth(rates, time) / sigma
    # the curve of each rate is taken off before squares are summed, or they would cancel on quiet readings
    s11, s12, s22 = one @ one, w @ one, np.einsum("ij,ij->i", w, w)
    t1, t2 = one @ z, w @ z
    det = np.maximum(s11 * s22 - s12**2, 1e-300)
    level0, slope0 = (s22 * t1 - s12 * t2) / det, (s11 * t2 - s12 * t1) / det
    left = z - level0[:, None] * one - slope0[:, None] * w
    g11 = _product(one, one, diagonal, beside)[None, :]
    g12 = _product(w, one, diagonal, beside)
    g22 = _product(w, w, diagonal, beside)
    r1 = _product(left, one, diagonal, beside)
    r2 = _product(w, left, diagonal, beside)
    det = np.maximum(g11 * g22 - g12**2, 1e-300)
    c1, c2 = (g22 * r1 - g12 * r2) / det, (g11 * r2 - g12 * r1) / det
    rss = _product(left, left, diagonal, beside) - c1 * r1 - c2 * r2
    first, slope = level0[:, None] + c1, slope0[:, None] + c2
    return _finish_table(rates, first, slope, rss, det, g11, g12, g22, log_det, time.size, bounds)


def _finish_table(
    rates: Floats, first: Floats, slope: Floats, rss: Floats, det: Floats, g11: Floats, g12: Floats, g22: Floats,
    log_det: Floats, size: int, bounds: BackgroundBounds,
) -> _Table:  # fmt: skip
    dof = max(size - 2, 1)
    rss = np.maximum(rss, 1e-14 * size)
    k = np.where(np.abs(rates) < 1e-9, 1e-9, rates)[:, None]
    background = first - slope / k
    variance = (g22 + 2 * g12 / k + g11 / k**2) / det * rss / dof
    log_p = -0.5 * np.log(det) - 0.5 * dof * np.log(rss) + 0.5 * log_det[None, :] - np.log(np.abs(k))
    if bounds.given is not None:
        total = variance + bounds.given_uncertainty**2
        log_p = log_p - 0.5 * (background - bounds.given) ** 2 / total - 0.5 * np.log(total)
    else:
        se = np.sqrt(variance)
        inside = ndtr((bounds.high - background) / se) - ndtr((bounds.low - background) / se)
        log_p = log_p + np.log(np.maximum(inside, 1e-30))
    log_p = log_p - np.log(np.maximum(np.abs(k), 0.05))
    return _Table(log_p, first, slope)


def _best_rate(
    time: Floats, level: Floats, sigma: Floats, spacing: Floats, bounds: BackgroundBounds, autocorrelation: float
) -> float:
    """Most probable rate at one autocorrelation, by zooming in three times."""
    rates = COARSE_RATES
    phi = np.array([autocorrelation])
    for _ in range(4):
        log_p = _table(rates, time, level, sigma, spacing, bounds, phi).log_probability[:, 0]
        top = int(np.argmax(log_p))
        low, high = rates[max(top - 1, 0)], rates[min(top + 1, rates.size - 1)]
        rates = np.linspace(low, high, 13)
    return float(rates[6])


def _linear_part(
    time: Floats, level: Floats, sigma: Floats, spacing: Floats, bounds: BackgroundBounds, rate: float, phi: float
) -> tuple[float, float]:
    """Background within its bounds and amplitude, for a known rate and autocorrelation."""
    rate = rate if abs(rate) > 1e-9 else 1e-9
    diagonal, beside, _ = _precision(spacing, np.array([phi]))
    decay = np.exp(-np.clip(rate * time, -50, 700)) / sigma
    one, z = 1.0 / sigma, level / sigma
    a11 = float(_product(one, one, diagonal, beside)[0])
    a12 = float(_product(one, decay, diagonal, beside)[0])
    a22 = float(_product(decay, decay, diagonal, beside)[0])
    b1 = float(_product(one, z, diagonal, beside)[0])
    b2 = float(_product(decay, z, diagonal, beside)[0])
    det = a11 * a22 - a12**2
    background = (a22 * b1 - a12 * b2) / det if det > 0 else 0.0
    if bounds.given is not None:
        background = bounds.given
    background = min(max(background, bounds.low), bounds.high)
    return background, (b2 - a12 * background) / a22


def _noise(level: Floats, curve: Floats, step: float, share: Floats, reading_spread: float | None) -> Floats:
    """Expected standard deviation of each block mean but for a factor: σ² = C² + c0², c0 by likelihood."""
    top = max(float(np.max(np.abs(curve))), 1e-12)
    floors = np.geomspace(1e-4, 3.0, 13)[:, None] * top
    sigma = np.sqrt(curve[None, :] ** 2 + floors**2) * share
    squares = ((level - curve)[None, :] / sigma) ** 2
    mean_square = np.maximum(squares.mean(axis=1), 1e-16)
    score = -np.log(sigma).sum(axis=1) - 0.5 * level.size * np.log(mean_square)
    best = int(np.argmax(score))
    relative = math.sqrt(float(mean_square[best]))
    noise = relative * sigma[best]
    single = noise if reading_spread is None else reading_spread * sigma[best] / share
    if step > 0:
        bias = step / math.sqrt(12) * np.exp(-2 * math.pi**2 * (single / step) ** 2)
        noise = np.sqrt(noise**2 + bias**2)
    return np.maximum(noise, 1e-9 * top)


def _posterior(
    time: Floats, level: Floats, sigma: Floats, spacing: Floats, bounds: BackgroundBounds, rate: float
) -> tuple[Floats, Floats, _Table]:
    """Probability over a grid of rates wide enough to hold all of it, and over the autocorrelations."""
    prior = np.log(np.gradient(AUTOCORRELATIONS))
    near = max(abs(rate), 0.01) * NEAR_RATE
    rates = np.unique(np.concatenate([COARSE_RATES, rate + near]))
    for turn in range(6):
        table = _table(rates, time, level, sigma, spacing, bounds, AUTOCORRELATIONS)
        log_p = table.log_probability + prior[None, :]
        marginal = np.logaddexp.reduce(log_p, axis=1)
        marginal = marginal - marginal.max()
        held = np.flatnonzero(marginal > -DROP)
        low, high = rates[max(held[0] - 1, 0)], rates[min(held[-1] + 1, rates.size - 1)]
        if turn > 0 and held.size >= GRID_POINTS // 3:
            break
        rates = np.linspace(low, high, GRID_POINTS)
    weight = np.exp(log_p - log_p.max())
    return rates, weight, table


def _middle_and_widths(rates: Floats, probability: Floats) -> tuple[float, float, float]:
    """Median, and half-widths about it that hold 95 % and 68.27 %."""
    mass = np.concatenate([[0.0], np.cumsum(0.5 * (probability[1:] + probability[:-1]) * np.diff(rates))])
    mass /= mass[-1]
    middle = float(np.interp(0.5, mass, rates))
    widths = np.linspace(0.0, max(middle - rates[0], rates[-1] - middle), 400)
    held = np.interp(middle + widths, rates, mass) - np.interp(middle - widths, rates, mass)
    return middle, float(np.interp(0.95, held, widths)), float(np.interp(0.6826895, held, widths))


_DOF_TABLE = np.concatenate([np.linspace(1.0, 10.0, 37), np.geomspace(11.0, 3000.0, 40)])
_RATIO_TABLE = stdtrit(_DOF_TABLE, 0.975) / stdtrit(_DOF_TABLE, 0.5 + 0.6826895 / 2)


def _degrees_of_freedom(ratio: float) -> float:
    """Degrees of freedom of the Student t whose 95 % and 68.27 % half-widths stand in this ratio."""
    return float(np.interp(ratio, _RATIO_TABLE[::-1], _DOF_TABLE[::-1]))


def _covariance(
    time: Floats, amplitude: float, rate: float, sigma: Floats, spacing: Floats, bounds: BackgroundBounds, phi: float
) -> Floats:
    """Covariance of (background, amplitude, rate) by generalised least squares, bounds as prior knowledge."""
    diagonal, beside, _ = _precision(spacing, np.array([phi]))
    decay = np.exp(-np.clip(rate * time, -50, 700))
    columns = np.stack([1.0 / sigma, decay / sigma, -amplitude * time * decay / sigma])
    matrix = np.array([[float(_product(a, b, diagonal, beside)[0]) for a in columns] for b in columns])
    known = bounds.given_uncertainty if bounds.given is not None else (bounds.high - bounds.low) / math.sqrt(12)
    matrix[0, 0] += 1.0 / max(known, 1e-9 * max(abs(amplitude), 1e-9)) ** 2
    scale = np.sqrt(np.maximum(np.diag(matrix), 1e-300))
    inverse: Floats = np.linalg.pinv(matrix / np.outer(scale, scale)) / np.outer(scale, scale)
    return inverse
