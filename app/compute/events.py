r"""More than one rate in the window: speed changed, a door opened, a second source, mixing not finished, two rooms.

The single exponential is held against curves with one thing more: from a time s on another rate, at s a jump
that then decays at the same rate, or a second exponential that is faster or slower. Each is a further column
of a linear model about the single fit, so its gain is a ratio of likelihoods,

.. math:: G = 2\,(\max_\varphi \ell_{with} - \max_\varphi \ell_{without})

with the autocorrelation φ fitted on both sides, for drifting noise looks like a change of rate too.
"""

import math
from dataclasses import dataclass

import numpy as np

from app.compute.autocorrelation import whitener
from app.compute.exponential_fit import ExponentialFit
from app.compute.noise import Floats
from app.compute.rate_table import BackgroundBounds

FEWEST_BLOCKS = 8
BREAKS = 18  # times that are tried
EDGE_SHARE = 0.1  # of the window at either end where no break is looked for
AUTOCORRELATIONS = (0.0, 0.3, 0.6, 0.8, 0.9, 0.96)
SECOND_RATES = (1 / 3, 2.0, 4.0, 8.0)  # of a second exponential, as multiples of the first
# 99 of 100 simulated single exponentials stay below 15 + 320/blocks, for 10 to 120 blocks and all autocorrelations
# of the coverage study (tests/studies/decay_coverage.py prints the share found by mistake).
GAIN_LIMIT = 15.0
GAIN_LIMIT_FEW = 320.0  # divided by the number of blocks: few blocks, heavier tails
CHANGE_LIMIT = 0.10  # smallest relative change of rate, or jump relative to the level, that is told


@dataclass(frozen=True, slots=True)
class RateEvent:
    """What keeps a curve from being one exponential.

    kind : "rate_change", "jump", "fast_start" (mixing not finished, or a second room) or "slow_tail"
    at_h : where, on the clock of the fit window's start [h]
    change : rate after over rate before − 1; for a jump its height over the level; for a second exponential
        its amplitude over the whole
    gain : twice the gain in log likelihood; limit : what it was held against
    """

    kind: str
    at_h: float
    change: float
    gain: float
    limit: float


def find_event(time: Floats, level: Floats, fit: ExponentialFit, bounds: BackgroundBounds) -> RateEvent | None:
    """The clearest departure from one exponential in block means, None where none is clear. `time` from zero [h]."""
    if time.size < FEWEST_BLOCKS or fit.amplitude <= 0 or fit.rate <= 0:
        return None
    decayed = np.exp(-np.clip(fit.rate * time, -50, 700))
    candidates, kinds, places = _candidates(time, decayed, fit)
    null = np.stack([np.ones_like(time), decayed, time * decayed], axis=1)
    residual = level - fit.background - fit.amplitude * decayed
    columns = np.asfortranarray(np.column_stack([null, residual, candidates]))
    held = 0.0
    if bounds.given is not None:
        held = 1.0 / max(bounds.given_uncertainty, 1e-12) ** 2
    without, with_each, coefficient = -math.inf, np.full(len(kinds), -math.inf), np.zeros(len(kinds))
    for autocorrelation in AUTOCORRELATIONS:
        inverse = whitener(fit.noise, autocorrelation)
        product = columns.T @ inverse.times(columns)
        normal = product[:3, :3].copy()
        normal[0, 0] += held * fit.spread**-2 if fit.spread > 0 else 0.0
        scale = np.sqrt(np.diag(normal))
        solve = np.linalg.pinv(normal / np.outer(scale, scale)) / np.outer(scale, scale)
        to_residual, to_candidates = product[:3, 3], product[:3, 4:]
        rss = max(float(product[3, 3] - to_residual @ solve @ to_residual), 1e-3 * time.size)
        cross = product[3, 4:] - to_residual @ solve @ to_candidates
        own = np.diag(product)[4:] - np.einsum("ic,ij,jc->c", to_candidates, solve, to_candidates)
        usable = own > 1e-6 * np.diag(product)[4:]
        gained = np.where(usable, cross**2 / np.where(usable, own, 1.0), 0.0)
        log_without = -0.5 * inverse.log_det - 0.5 * time.size * math.log(rss)
        log_with = -0.5 * inverse.log_det - 0.5 * time.size * np.log(np.maximum(rss - gained, 1e-4 * time.size))
        without = max(without, log_without)
        better = log_with > with_each
        with_each = np.where(better, log_with, with_each)
        coefficient = np.where(better & usable, cross / np.where(usable, own, 1.0), np.where(better, 0.0, coefficient))
    gain = 2 * (with_each - without)
    limit = GAIN_LIMIT + GAIN_LIMIT_FEW / time.size
    best = int(np.argmax(gain))
    change = _change(kinds[best], float(coefficient[best]), places[best], fit)
    if gain[best] < limit or abs(change) < CHANGE_LIMIT:
        return None
    return RateEvent(kinds[best], places[best], change, float(gain[best]), limit)


def _candidates(time: Floats, decayed: Floats, fit: ExponentialFit) -> tuple[Floats, list[str], list[float]]:
    """Columns, kinds and places of all that is tried."""
    first, last = EDGE_SHARE * time.size, (1 - EDGE_SHARE) * time.size
    numbers = np.unique(np.linspace(first, last, BREAKS).astype(int))
    breaks = time[np.clip(numbers, 2, time.size - 3)]
    after = time[:, None] >= breaks[None, :]
    since = np.where(after, time[:, None] - breaks[None, :], 0.0)
    rate_change = -fit.amplitude * since * decayed[:, None]
    jump = np.where(after, np.exp(-np.clip(fit.rate * since, 0, 700)), 0.0)
    second = np.exp(-np.clip(fit.rate * np.array(SECOND_RATES)[None, :] * time[:, None], 0, 700))
    kinds = ["rate_change"] * breaks.size + ["jump"] * breaks.size
    kinds += ["slow_tail" if factor < 1 else "fast_start" for factor in SECOND_RATES]
    places = [float(s) for s in breaks] * 2 + [
        3 / (fit.rate * factor) if factor > 1 else 0.0 for factor in SECOND_RATES
    ]
    return np.column_stack([rate_change, jump, second]), kinds, places


def _change(kind: str, coefficient: float, at_h: float, fit: ExponentialFit) -> float:
    if kind == "rate_change":
        return coefficient / fit.rate
    if kind == "jump":
        return coefficient / (fit.background + fit.amplitude * math.exp(-min(fit.rate * at_h, 50.0)))
    return coefficient / fit.amplitude
