"""Settings of the logger's noise that a fit considers: how much of it is independent, and how long the rest lasts.

.. math:: \\mathrm{cov}(e_i, e_j) = p_i p_j \\left[(1 - w)\\,\\rho(|t_i - t_j|) + w\\,\\delta_{ij}\\right]
          + f^2\\,\\rho_f(|t_i - t_j|) + d_i^2\\,\\delta_{ij}

p is proportional to the level, f the noise at level zero, d the rounding error, w an independent share. The correlation
is ρ(t) = exp(−t/τ) with a memory τ, or that of flicker: the mean of such terms with equal parts for every octave of
memory, as 1/f noise has it. The memory is a property of the logger, so its prior is in seconds, whatever the sampling.
"""

import math
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from scipy.linalg import toeplitz

from app.compute.signal.autocorrelation import NoiseModel
from app.compute.signal.blocks import Blocks
from app.compute.signal.noise import Floats

# Prior of the memory: uniform in its logarithm between these ends; common practice, no source. Of the window at most
# the given share: slower noise cannot be distinguished from the curve.
SHORTEST_MEMORY_S = 2.0
LONGEST_MEMORY_S = 1800.0
LONGEST_OF_LONG_WINDOWS = 0.125
LONGEST_SHARE = 1.0
WHITE_BELOW = 0.35  # blocks: a shorter memory leaves an autocorrelation below 6 %
MEMORIES = 6
LEAST_INDEPENDENT = 0.02  # of the correlated standard deviation, for a well-conditioned inverse
HIGHEST_AUTOCORRELATION = 0.999  # of neighbouring blocks
FLICKER_PRIOR = 0.1  # common practice, no source
FLICKER_SPANS = 4.0  # run lengths: slower parts hardly change during the run


class Mixture(NamedTuple):
    """independent : share w of the proportional noise; floor_lasts : whether noise at level zero has the memory too"""

    independent: float
    floor_lasts: bool


MIXTURES = (Mixture(0.0, True), Mixture(0.0, False), Mixture(0.3, False))


@dataclass(frozen=True, slots=True)
class BlockNoise:
    """Noise of block means as their changes from one block to the next show it: standard deviations proportional to
    the level, at level zero, and of rounding; spacing as in NoiseModel.

    Noise with autocorrelation φ changes by √(1 − φ) of what independent noise of the same size would change by, so it
    is larger than its changes show.
    """

    proportional: Floats
    floor: Floats
    rounding: Floats
    spacing: Floats

    def model(self, mixture: Mixture = MIXTURES[0], autocorrelation: float = 0.0) -> NoiseModel:
        """The noise under one setting."""
        correlated, independent = self.variances(mixture, np.array([autocorrelation]))
        return NoiseModel(np.sqrt(correlated[0]), np.sqrt(independent[0]), self.spacing)

    def variances(self, mixture: Mixture, autocorrelations: Floats) -> tuple[Floats, Floats]:
        """Of the correlated and of the independent part, one row for each autocorrelation."""
        larger = 1.0 / (1.0 - (1 - mixture.independent) * autocorrelations[:, None])
        proportional = larger * self.proportional**2
        floor = larger * self.floor**2 if mixture.floor_lasts else np.broadcast_to(self.floor**2, proportional.shape)
        correlated = (1 - mixture.independent) * proportional
        independent = mixture.independent * proportional + self.rounding**2
        if mixture.floor_lasts:
            correlated = correlated + (1 - mixture.independent) * floor
            independent = independent + mixture.independent * floor
        else:
            correlated = np.maximum(correlated, 1e-6 * floor)
            independent = independent + floor
        return correlated, np.maximum(independent, LEAST_INDEPENDENT**2 * self.proportional**2 + 1e-4 * self.floor**2)


@dataclass(frozen=True, slots=True)
class NoiseSettings:
    """autocorrelations : of neighbouring blocks, one for each memory
    mixtures : each is combined with each memory
    log_prior : of noise without memory, of flicker, and of each memory of each mixture in turn
    """

    autocorrelations: Floats
    mixtures: tuple[Mixture, ...]
    log_prior: Floats


def noise_settings(blocks: Blocks) -> NoiseSettings:
    """Memories and mixtures considered for these blocks, with their prior."""
    spacing_s = 3600 * float(np.median(np.diff(blocks.time_h) / blocks.spacing))
    window_s = 3600 * float(blocks.time_h[-1] - blocks.time_h[0])
    longest = min(max(LONGEST_MEMORY_S, LONGEST_OF_LONG_WINDOWS * window_s), LONGEST_SHARE * window_s)
    white = max(WHITE_BELOW * spacing_s, SHORTEST_MEMORY_S)  # memories at and below it count as none
    step = math.log(max(longest / white, 2.0)) / MEMORIES
    memories = white * np.exp(step * (np.arange(MEMORIES) + 0.5))
    shares = np.full(MEMORIES, step)
    white_share = math.log(max(white / SHORTEST_MEMORY_S, 1.0)) + 1e-3
    total = white_share + float(shares.sum())
    prior = np.tile(shares / total / len(MIXTURES), len(MIXTURES))
    prior = (1 - FLICKER_PRIOR) * np.concatenate([[white_share / total], prior])
    prior = np.insert(prior, 1, FLICKER_PRIOR)
    autocorrelations = np.clip(np.exp(-spacing_s / memories), 1e-9, HIGHEST_AUTOCORRELATION)
    return NoiseSettings(autocorrelations, MIXTURES, np.log(prior))


def flicker_covariance(noise: BlockNoise, autocorrelations: Floats) -> Floats:
    """Covariance of the blocks with equal parts of all memories in the proportional noise; the rest independent.

    The memories go on beyond those given, by the same factor, to four times the length of the run.
    """
    place = np.concatenate([[0.0], np.cumsum(noise.spacing)])
    rates = -np.log(autocorrelations)
    factor = max(rates[0] / rates[1], 1.2)
    further = max(math.ceil(math.log(max(FLICKER_SPANS * place[-1] * rates[-1], 1e-9)) / math.log(factor)), 0)
    rates = np.concatenate([rates, rates[-1] * factor ** -np.arange(1.0, further + 1)])
    if bool(np.all(noise.spacing == noise.spacing[0])):
        terms = toeplitz(np.exp(-rates[:, None] * place).sum(axis=0))
    else:
        terms = np.exp(-rates[:, None, None] * np.abs(place[:, None] - place)).sum(axis=0)
    # equal parts, one of them without memory; as with one memory, the noise is larger than its changes show
    scale = 1.0 / (1.0 - float(np.expm1(-rates).sum()))
    covariance: Floats = np.outer(scale * noise.proportional, noise.proportional) * terms
    own = scale * noise.proportional**2 + noise.floor**2 + noise.rounding**2
    covariance[np.diag_indices_from(covariance)] += own + 1e-12 * covariance.max()
    return covariance
