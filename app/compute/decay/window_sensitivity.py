"""Sensitivity of the rate to the choice of the fit window."""

import math

import numpy as np

from app.compute.signal.autocorrelation import NoiseModel, whitener
from app.compute.signal.exponential_fit import ExponentialFit
from app.compute.signal.fitting import scaled_inverse
from app.compute.signal.noise import Floats
from app.compute.signal.rate_table import BackgroundBounds

OTHER_WINDOWS = ((0.1, 1.0), (0.2, 1.0), (0.3, 1.0), (0.0, 0.85), (0.0, 0.7), (0.1, 0.85))  # shares of the window
FEWEST_BLOCKS = 8
UNINFORMATIVE_SHARE = 0.5  # of the rate, as standard uncertainty of a part's rate
# A larger change, in standard deviations, is not noise: in 98 of 100 simulated single exponentials
# (tests/studies/decay_coverage.py) the largest of the six stays below it.
NOISE_LIMIT = 2.8


def window_sensitivity(
    time: Floats, level: Floats, fit: ExponentialFit, bounds: BackgroundBounds
) -> tuple[float, float]:
    """Half the range of the rate over six other windows [1/h], and its largest change in standard deviations.

    A fit of part of the readings differs from the fit of all by noise alone with the variance
    var(part) − var(all); a larger change means that the fitted model does not describe the curve.
    """
    if time.size < FEWEST_BLOCKS:
        return 0.0, 0.0
    decayed = np.exp(-np.clip(fit.rate * time, -50, 700))
    residual = level - fit.background - fit.amplitude * decayed
    columns = np.column_stack([np.ones_like(time), decayed, -fit.amplitude * time * decayed, residual])
    noise, scale = fit.noise, max(fit.spread, 1e-9)
    held = 0.0 if bounds.given is None else (scale / max(bounds.given_uncertainty, 1e-12)) ** 2
    stated, free, whole = _step(columns, noise, fit.autocorrelation, held, fit.background, bounds)
    moves, deviations = [0.0], [0.0]
    for start, end in OTHER_WINDOWS:
        low, high = round(start * time.size), round(end * time.size)
        part = NoiseModel(noise.correlated[low:high], noise.independent[low:high], noise.spacing[low : high - 1])
        move, free_move, variance = _step(columns[low:high], part, fit.autocorrelation, held, fit.background, bounds)
        if scale * math.sqrt(max(variance, 0.0)) > UNINFORMATIVE_SHARE * abs(fit.rate):
            continue  # too short to determine the rate
        moves.append(move - stated)
        more = math.sqrt(max(variance / whole - 1, 0.05)) if whole > 0 else math.inf
        deviations.append(abs(free_move - free) / max(fit.uncertainty * more, scale * math.sqrt(whole) * more, 1e-300))
    return 0.5 * (max(moves) - min(moves)), max(deviations)


def _step(
    columns: Floats, noise: NoiseModel, autocorrelation: float, held: float, background: float, bounds: BackgroundBounds
) -> tuple[float, float, float]:
    """One step of least squares from the whole window's fit: change of the rate with the background inside its
    bounds, the same with the background free, and the variance of the latter, without the factor scale².
    """
    product = columns.T @ whitener(noise, autocorrelation).times(columns)
    normal, right = product[:3, :3], product[:3, 3].copy()
    normal[0, 0] += held
    if bounds.given is not None:
        right[0] += held * (bounds.given - background)
    inverse = scaled_inverse(normal)
    step = inverse @ right
    moved = min(max(background + float(step[0]), bounds.low), bounds.high) - background
    inside = float(step[2])
    if moved != step[0]:
        # the background stops at its bound; the other two parameters follow
        inside = float((scaled_inverse(normal[1:, 1:]) @ (right[1:] - normal[1:, 0] * moved))[1])
    return inside, float(step[2]), float(inverse[2, 2])
