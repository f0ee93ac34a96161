"""Kinds of logger noise that a fit considers: how much of it is independent, and how long the rest lasts.

.. math:: \\mathrm{cov}(e_i, e_j) = p_i p_j \\left[(1 - w)\\,\\rho(|t_i - t_j|) + w\\,\\delta_{ij}\\right]
          + f^2\\,\\rho_f(|t_i - t_j|) + d_i^2\\,\\delta_{ij}

p is proportional to the level, f the noise at level zero, d the rounding error, w an independent share. The correlation
is ρ(t) = exp(−t/τ) with a memory τ, or that of flicker: the mean of such terms with equal parts for every octave of
memory, as 1/f noise has it. The memory is a property of the logger, so it is in seconds, whatever the sampling.
"""

import math
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from app.compute.signal.blocks import Blocks
from app.compute.signal.noise import Floats, NoiseModel

MEMORIES_S: Floats = 3.0 * 2.0 ** np.arange(11.0)
LONGEST_MEMORY_S = 1800.0  # slower noise cannot be distinguished from the curve; common practice, no source
LONGEST_OF_LONG_WINDOWS = 0.125
WHITE_BELOW = 0.06  # correlation of neighbouring means: less cannot be distinguished from none
LEAST_INDEPENDENT = 0.02  # of the correlated standard deviation, for a well-conditioned inverse
SHORTEST_BLOCK = 1e-3  # over the memory, for a well-conditioned inverse
MOST_MOMENTS = 3  # readings of a block, from more of which its mean does not show whether each was of a moment
FLICKER_SPANS = 4.0  # run lengths: slower parts hardly change during the run


class Mixture(NamedTuple):
    """independent : share w of the proportional noise; floor_lasts : whether noise at level zero has the memory too;
    momentary : whether a reading is of a moment, instead of the mean over its interval
    """

    independent: float
    floor_lasts: bool
    momentary: bool = False


MIXTURES = (Mixture(0.0, True), Mixture(0.0, False), Mixture(0.3, False), Mixture(0.0, True, momentary=True))
KINDS = 2 + len(MIXTURES) * MEMORIES_S.size  # without memory, flicker, and each memory of each mixture in turn


@dataclass(frozen=True, slots=True)
class BlockNoise:
    """Noise of block means as their changes from one block to the next show it: standard deviations proportional to
    the level, at level zero, and of rounding; spacing as in NoiseModel.

    Noise whose neighbouring means have the correlation ρ1 changes by √(1 − ρ1) of what independent noise of the same
    size would change by, so it is larger than its changes show.
    """

    proportional: Floats
    floor: Floats
    rounding: Floats
    spacing: Floats

    def model(self, mixture: Mixture = MIXTURES[0], neighbours: float = 0.0) -> NoiseModel:
        """The noise under one setting. neighbours : correlation of neighbouring means"""
        correlated, independent = self.variances(mixture, np.array([neighbours]))
        return NoiseModel(np.sqrt(correlated[0]), np.sqrt(independent[0]), self.spacing)

    def variances(self, mixture: Mixture, neighbours: Floats) -> tuple[Floats, Floats]:
        """Of the part with a memory and of the independent part, one row for each correlation of neighbours."""
        larger = 1.0 / (1.0 - (1 - mixture.independent) * neighbours[:, None])
        proportional = larger * self.proportional**2
        floor = larger * self.floor**2 if mixture.floor_lasts else self.floor**2
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
    """autocorrelations : over one block, one for each memory that these blocks can show
    neighbours : correlation of neighbouring means, one row for each mixture (`correlations_of_blocks`)
    mixtures : each is combined with each memory
    block_s : length of a block [s]
    row_of_kind : row in the table of settings (no memory, flicker, each memory of each mixture) of every kind of noise;
        kinds that look alike in these blocks share a row
    """

    autocorrelations: Floats
    neighbours: Floats
    mixtures: tuple[Mixture, ...]
    block_s: float
    row_of_kind: NDArray[np.int64]

    @property
    def rows(self) -> int:
        return 2 + len(self.mixtures) * self.autocorrelations.size

    def of_kinds(self, of_rows: Floats) -> Floats:
        """Log likelihood of each kind of noise, from that of each row."""
        return of_rows[self.row_of_kind]

    def of_rows(self, probability: Floats) -> Floats:
        """Probability of each row, from that of the kinds of noise."""
        return np.bincount(self.row_of_kind, weights=probability, minlength=self.rows).astype(np.float64)


def correlations_of_blocks(memory_s: Floats, block_s: float, moments: int = 0) -> tuple[Floats, Floats]:
    r"""Of means over blocks of noise with a memory: the correlation φ over one block, and ρ1 of neighbouring means.

    .. math:: \varphi = e^{-x}, \quad \rho_1 = \frac{(1 - e^{-x})^2}{2 (x - 1 + e^{-x})}, \quad x = T/\tau

    At a distance of d blocks the correlation is ρ1 φ^(d−1): the integral of exp(−t/τ) over both blocks, over that of
    one block with itself; sums instead of integrals for the mean of some moments, of which one alone has ρ1 = φ.

    moments : evenly spaced, that a block is the mean of; 0 for the mean over all of it

    >>> [each.round(3) for each in correlations_of_blocks(np.array([1.0, 30.0, 3000.0]), 60.0)]
    [array([0.   , 0.135, 0.98 ]), array([0.008, 0.329, 0.987])]
    """
    x = np.maximum(block_s / np.asarray(memory_s, dtype=float), SHORTEST_BLOCK)
    phi, lost = np.exp(-x), -np.expm1(-x)
    if not moments:
        return phi, 0.5 * lost * lost / (x - lost)
    kept = np.exp(-x / moments)
    step = -np.expm1(-x / moments)
    return phi, kept * lost * lost / (moments * (1 + kept) * step - 2 * kept * lost)


def noise_settings(blocks: Blocks) -> NoiseSettings:
    """Memories and mixtures considered for these blocks."""
    window_s = 3600 * float(blocks.time_h[-1] - blocks.time_h[0])
    block_s = window_s / float(blocks.spacing.sum())
    longest = min(max(LONGEST_MEMORY_S, LONGEST_OF_LONG_WINDOWS * window_s), window_s)
    each, averaged = correlations_of_blocks(MEMORIES_S, block_s)
    held = np.flatnonzero((averaged >= WHITE_BELOW) & (longest >= MEMORIES_S))
    if held.size == 0:
        held = np.array([max(int(np.searchsorted(MEMORIES_S, longest)) - 1, 0)])
    of_moments = averaged
    if blocks.per_block <= MOST_MOMENTS:
        of_moments = correlations_of_blocks(MEMORIES_S, block_s, blocks.per_block)[1]
    mixtures = tuple(one for one in MIXTURES if blocks.per_block <= MOST_MOMENTS or not one.momentary)
    place = np.searchsorted(held, np.arange(each.size), side="right") - 1
    first = np.array([mixtures.index(one if one in mixtures else one._replace(momentary=False)) for one in MIXTURES])
    rows = np.where(averaged < WHITE_BELOW, 0, 2 + first[:, None] * held.size + np.maximum(place, 0))
    neighbours = np.stack([(of_moments if one.momentary else averaged)[held] for one in mixtures])
    return NoiseSettings(each[held], neighbours, mixtures, block_s, np.concatenate([[0, 1], rows.ravel()]))


def flicker_covariance(noise: BlockNoise, block_s: float) -> Floats:
    """Covariance of the blocks with equal parts of all memories in the proportional noise; the rest independent.

    The memories go on, by the same factor, to four times the length of the run. As with one memory, the noise is
    larger than its changes show.
    """
    place = np.concatenate([[0.0], np.cumsum(noise.spacing)])
    octaves = max(math.ceil(math.log2(max(FLICKER_SPANS * place[-1] * block_s / MEMORIES_S[0], 2.0))), 2)
    memories_s = MEMORIES_S[0] * 2.0 ** np.arange(octaves)
    x = np.minimum(block_s / memories_s, 1e6)
    own = 2 * (x + np.expm1(-x)) / x**2  # variance of means over a block
    _, neighbours = correlations_of_blocks(memories_s, block_s)
    beside = own * neighbours
    if bool(np.all(noise.spacing == noise.spacing[0])):
        of_distance = np.append(own.sum(), beside @ np.exp(-x[:, None] * (place[1:] - 1)))
        both_ways = np.concatenate([of_distance[:0:-1], of_distance])
        terms = sliding_window_view(both_ways, place.size)[::-1]  # a row for each block
    else:
        between = np.maximum(np.abs(place[:, None] - place) - 1, 0.0)
        terms = np.einsum("m,mij->ij", beside, np.exp(-x[:, None, None] * between))
        terms[np.diag_indices_from(terms)] = own.sum()
    scale = 1.0 / float(own.sum() - beside.sum())
    covariance: Floats = (scale * noise.proportional)[:, None] * noise.proportional * terms
    more = noise.floor**2 + noise.rounding**2
    covariance.ravel()[:: place.size + 1] += more + 1e-12 * covariance.max()
    return covariance
