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
WHITE_BELOW = 0.06  # autocorrelation of blocks: less cannot be distinguished from none
LEAST_INDEPENDENT = 0.02  # of the correlated standard deviation, for a well-conditioned inverse
HIGHEST_AUTOCORRELATION = 0.999  # of neighbouring blocks
LONG_BELOW = 0.4  # blocks per memory: for longer memories the distant means count, for shorter ones their sum
FLICKER_SPANS = 4.0  # run lengths: slower parts hardly change during the run


class Mixture(NamedTuple):
    """independent : share w of the proportional noise; floor_lasts : whether noise at level zero has the memory too"""

    independent: float
    floor_lasts: bool


MIXTURES = (Mixture(0.0, True), Mixture(0.0, False), Mixture(0.3, False))
KINDS = 2 + len(MIXTURES) * MEMORIES_S.size  # without memory, flicker, and each memory of each mixture in turn


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
    """autocorrelations : of neighbouring blocks, one for each memory that these blocks can show
    mixtures : each is combined with each memory
    block_s : length of a block [s]
    seen : share of the noise's variance that what is new in each block shows, one for each autocorrelation
    neighbours : correlation of neighbouring means, one for each autocorrelation
    row_of_kind : row in the table of settings (no memory, flicker, each memory of each mixture) of every kind of noise;
        kinds that look alike in these blocks share a row
    """

    autocorrelations: Floats
    mixtures: tuple[Mixture, ...]
    block_s: float
    seen: Floats
    neighbours: Floats
    row_of_kind: NDArray[np.int64]

    @property
    def rows(self) -> int:
        return 2 + len(self.mixtures) * self.autocorrelations.size

    @property
    def seen_of_rows(self) -> Floats:
        """One column; where a part of the noise is independent, that part is what is new."""
        of_mixtures = [np.where(one.independent > 0, 1.0, self.seen) for one in self.mixtures]
        return np.concatenate([[1.0, 1.0], *of_mixtures])[:, None]

    def of_kinds(self, of_rows: Floats) -> Floats:
        """Log likelihood of each kind of noise, from that of each row.

        A first-order series is likeliest with the correlation of neighbouring means for its autocorrelation, so the
        likelihood of a memory is read off there, between the rows.
        """
        found = of_rows.copy()
        at, wanted = np.arctanh(self.autocorrelations), np.arctanh(self.neighbours)
        of_memories = found[2:].reshape(len(self.mixtures), -1)
        of_memories[:] = [np.interp(wanted, at, of_mixture) for of_mixture in of_memories]
        return found[self.row_of_kind]

    def of_rows(self, probability: Floats) -> Floats:
        """Probability of each row, from that of the kinds of noise."""
        return np.bincount(self.row_of_kind, weights=probability, minlength=self.rows).astype(np.float64)


def autocorrelation_of_blocks(memory_s: Floats, block_s: float) -> tuple[Floats, Floats]:
    r"""Lag-one autocorrelation φ of the first-order series that replaces means over blocks of noise with a memory, and
    the share q of its variance that such a series seems to have, by what is new in each block.

    .. math:: \rho_1 = \frac{(1 - e^{-x})^2}{2 v}, \quad v = x - 1 + e^{-x}, \quad x = T/\tau

    is the correlation of neighbouring means. Where the memory is long, φ = exp(−x), as between distant means, and means
    change less from one to the next than such a series:

    .. math:: q = \frac{2 v + 2 v \varphi^2 - 2 \varphi (1 - e^{-x})^2}{(2 \sinh(x/2))^2 (1 - \varphi^2)}

    Else φ gives, with the scale found from what is new in each block, the long-run variance of the means, L times
    that of one of them, and q is one:

    .. math:: \frac{1 + \varphi^2 - 2 \varphi \rho_1}{(1 - \varphi)^2} = L = \frac{x}{v}

    >>> [each.round(3) for each in autocorrelation_of_blocks(np.array([1.0, 30.0, 3000.0]), 60.0)]
    [array([0.008, 0.288, 0.98 ]), array([1.   , 1.   , 0.667])]
    """
    x = np.maximum(block_s / np.asarray(memory_s, dtype=float), 1e-3)
    fresh = -np.expm1(-x)
    middle = (x - 0.5 * fresh * fresh) / fresh
    by_long_run = middle - np.sqrt(np.maximum(middle * middle - 1, 0.0))
    is_long = x < LONG_BELOW
    autocorrelation = np.minimum(np.where(is_long, np.exp(-x), by_long_run), HIGHEST_AUTOCORRELATION)
    near = np.where(is_long, x, 1.0)
    own, kept = near + np.expm1(-near), np.exp(-near)
    seen = (own * (1 + kept * kept) - kept * np.expm1(-near) ** 2) / (2 * np.sinh(near / 2) ** 2 * (1 - kept * kept))
    return autocorrelation, np.where(is_long, seen, 1.0)


def noise_settings(blocks: Blocks) -> NoiseSettings:
    """Memories and mixtures considered for these blocks."""
    window_s = 3600 * float(blocks.time_h[-1] - blocks.time_h[0])
    block_s = window_s / float(blocks.spacing.sum())
    longest = min(max(LONGEST_MEMORY_S, LONGEST_OF_LONG_WINDOWS * window_s), window_s)
    each, shares = autocorrelation_of_blocks(MEMORIES_S, block_s)
    held = np.flatnonzero((each >= WHITE_BELOW) & (longest >= MEMORIES_S))
    if held.size == 0:
        held = np.array([max(int(np.searchsorted(MEMORIES_S, longest)) - 1, 0)])
    place = np.searchsorted(held, np.arange(each.size), side="right") - 1
    mixtures = np.arange(len(MIXTURES))[:, None]
    rows = np.where(each < WHITE_BELOW, 0, 2 + mixtures * held.size + np.maximum(place, 0))
    x = block_s / MEMORIES_S[held]
    neighbours = np.minimum(0.5 * np.expm1(-x) ** 2 / (x + np.expm1(-x)), HIGHEST_AUTOCORRELATION)
    return NoiseSettings(
        each[held], MIXTURES, block_s, shares[held], neighbours, np.concatenate([[0, 1], rows.ravel()])
    )


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
    autocorrelations, _ = autocorrelation_of_blocks(memories_s, block_s)
    rates = -np.log(np.maximum(autocorrelations, 1e-12))
    if bool(np.all(noise.spacing == noise.spacing[0])):
        of_distance = own @ np.exp(-rates[:, None] * place)
        both_ways = np.concatenate([of_distance[:0:-1], of_distance])
        terms = sliding_window_view(both_ways, place.size)[::-1]  # a row for each block
    else:
        terms = np.einsum("m,mij->ij", own, np.exp(-rates[:, None, None] * np.abs(place[:, None] - place)))
    scale = 1.0 / float(own @ (1 - autocorrelations))
    covariance: Floats = (scale * noise.proportional)[:, None] * noise.proportional * terms
    more = noise.floor**2 + noise.rounding**2
    covariance.ravel()[:: place.size + 1] += more + 1e-12 * covariance.max()
    return covariance
