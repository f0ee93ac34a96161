"""Kinds of logger noise that a fit considers: how much of it is independent, and how long the rest lasts.

.. math:: \\mathrm{cov}(e_i, e_j) = p_i p_j \\left[(1 - w)\\,\\rho(|t_i - t_j|) + w\\,\\delta_{ij}\\right]
          + f^2\\,\\rho_f(|t_i - t_j|) + d_i^2\\,\\delta_{ij}

p is proportional to the level, f the noise at level zero, d the rounding error, w an independent share. The correlation
is ρ(t) = exp(−t/τ) with a memory τ, or that of flicker: the mean of such terms with equal parts for every octave of
memory, as 1/f noise has it. The memory is a property of the logger, so it is in seconds, whatever the sampling.
"""

import math
from dataclasses import dataclass
from functools import cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from app.compute.signal.autocorrelation import NoiseRows
from app.compute.signal.blocks import Blocks
from app.compute.signal.noise import Floats, NoiseModel

MEMORIES_S: Floats = 3.0 * 2.0 ** np.arange(11.0)
LONGEST_MEMORY_S = 1800.0  # slower noise cannot be distinguished from the curve; common practice, no source
LONGEST_OF_LONG_WINDOWS = 0.125
WHITE_BELOW = 0.06  # correlation of neighbouring means: less cannot be distinguished from none
LEAST_INDEPENDENT = 0.02  # of the correlated standard deviation, for a well-conditioned inverse
SHORTEST_BLOCK = 1e-3  # over the memory, for a well-conditioned inverse
MOST_MOMENTS = 3  # readings of a block, from more of which its mean does not show whether each was of a moment
FLOORS = np.geomspace(1e-3, 3.0, 9)  # of the highest level: noise at level zero over relative noise
NOISE_FLOOR = 1e-5  # of the highest level: smallest standard deviation, far below any logger's
FLICKER_SPANS = 4.0  # run lengths: slower parts hardly change during the run


class Mixture(NamedTuple):
    """independent : share w of the proportional noise; floor_lasts : whether noise at level zero has the memory too;
    momentary : whether a reading is of a moment, instead of the mean over its interval
    """

    independent: float
    floor_lasts: bool
    momentary: bool = False


MIXTURES = (Mixture(0.0, True), Mixture(0.0, False), Mixture(0.3, False), Mixture(0.0, True, momentary=True))
AVERAGED_MIXTURES = tuple(one for one in MIXTURES if not one.momentary)
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
        correlated, independent = self.variances((mixture,), np.array([[neighbours]]))
        return NoiseModel(np.sqrt(correlated.ravel()), np.sqrt(independent.ravel()), self.spacing)

    def variances(self, mixtures: tuple[Mixture, ...], neighbours: Floats) -> tuple[Floats, Floats]:
        """Of the part with a memory and of the independent part: mixture, correlation of neighbours, block."""
        alone, lasts = _shares(mixtures)
        larger = 1.0 / (1.0 - (1.0 - alone) * neighbours)
        proportional, floor = self.proportional**2, self.floor**2
        with_memory = proportional + lasts * floor
        correlated = ((1.0 - alone) * larger)[..., None] * with_memory
        independent = (alone * larger)[..., None] * with_memory + (self.rounding**2 + (1.0 - lasts) * floor)
        least = LEAST_INDEPENDENT**2 * proportional + 1e-4 * floor
        np.maximum(correlated, 1e-6 * floor, out=correlated)
        np.maximum(independent, least, out=independent)
        return correlated, independent


@cache
def _shares(mixtures: tuple[Mixture, ...]) -> tuple[Floats, Floats]:
    """Independent shares, and 1 where noise at level zero has the memory; as columns."""
    alone = np.array([one.independent for one in mixtures])[:, None]
    return alone, np.array([float(one.floor_lasts) for one in mixtures])[:, None, None]


def noise_of_blocks(blocks: Blocks, curve: Floats) -> BlockNoise:
    """Noise of the blocks from the residuals: σ² = s² (C² + c0²), c0 by likelihood, and rounding.

    c0 comes from the changes between neighbouring residuals, whose variance has the shape of σ² however long the
    memory of the noise is; residuals that drift would show the shape of the drift.
    """
    top = max(float(np.abs(curve).max()), 1e-12)
    left, rounding = blocks.level - curve, blocks.rounding**2
    floors = FLOORS[:, None] * top
    share = np.maximum(blocks.share, 0.25)
    shape = (curve[None, :] ** 2 + floors**2) / share
    of_both, rounding_of_both = shape[:, 1:] + shape[:, :-1], rounding[1:] + rounding[:-1]
    changes = (left[1:] - left[:-1]) ** 2
    scale = np.maximum(((changes - rounding_of_both) / of_both).sum(axis=1) / changes.size, 1e-12)[:, None]
    variance = scale * of_both + rounding_of_both
    best = int((np.log(variance) + changes / variance).sum(axis=1).argmin())
    root = np.sqrt(float(scale[best, 0]) / share)
    least = NOISE_FLOOR * top
    return BlockNoise(
        root * np.maximum(np.abs(curve), least), np.maximum(root * floors[best], least), blocks.rounding, blocks.spacing
    )


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

    def noise_rows(self, noise: BlockNoise) -> NoiseRows:
        """The noise under each memory of each mixture in turn."""
        correlated, independent = noise.variances(self.mixtures, self.neighbours)
        autocorrelations = np.concatenate([self.autocorrelations] * len(self.mixtures))
        rows = (autocorrelations.size, -1)
        return NoiseRows(
            correlated.reshape(rows), independent.reshape(rows), autocorrelations, self.neighbours.ravel(),
            noise.spacing,
        )  # fmt: skip

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
    white = int(averaged.searchsorted(WHITE_BELOW))  # both rise with the memory
    held = slice(white, int(MEMORIES_S.searchsorted(longest, side="right")))
    if held.start >= held.stop:
        only = max(int(MEMORIES_S.searchsorted(longest)) - 1, 0)
        held = slice(only, only + 1)
    mixtures = MIXTURES if blocks.per_block <= MOST_MOMENTS else AVERAGED_MIXTURES
    neighbours = np.array([averaged[held]] * len(mixtures))
    if mixtures is MIXTURES:
        of_moments = correlations_of_blocks(MEMORIES_S, block_s, blocks.per_block)[1]
        neighbours[[one.momentary for one in MIXTURES]] = of_moments[held]
    row_of_kind = _row_of_kind(white, held.start, held.stop, mixtures)
    return NoiseSettings(each[held], neighbours, mixtures, block_s, row_of_kind)


@cache
def _row_of_kind(white: int, first: int, stop: int, considered: tuple[Mixture, ...]) -> NDArray[np.int64]:
    """Rows of all kinds where the memories from `first` to before `stop` have rows, and the `white` shortest that of no
    memory. A momentary mixture that is not considered has the rows of the averaged one."""
    mixture = [considered.index(one if one in considered else one._replace(momentary=False)) for one in MIXTURES]
    memory = np.clip(np.arange(MEMORIES_S.size), first, stop - 1) - first
    rows = 2 + np.array(mixture)[:, None] * (stop - first) + memory
    rows[:, :white] = 0
    return np.concatenate([[0, 1], rows.ravel()])


def flicker_covariance(noise: BlockNoise, block_s: float) -> Floats:
    """Covariance of the blocks with equal parts of all memories in the proportional noise; the rest independent. Each
    value over its proportional standard deviation.

    The memories go on, by the same factor, to four times the length of the run. As with one memory, the noise is
    larger than its changes show.
    """
    place = np.zeros(noise.proportional.size)
    noise.spacing.cumsum(out=place[1:])
    octaves = max(math.ceil(math.log2(max(FLICKER_SPANS * place[-1] * block_s / MEMORIES_S[0], 2.0))), 2)
    memories_s = MEMORIES_S[0] * 2.0 ** np.arange(octaves)
    x = np.minimum(block_s / memories_s, 1e6)
    lost = -np.expm1(-x)
    beside = (lost / x) ** 2  # covariance of neighbouring means over a block, as in `correlations_of_blocks`
    count, own_all = place.size, float((2 * (x - lost) / x**2).sum())
    scale = 1.0 / (own_all - float(beside.sum()))
    if bool((noise.spacing == noise.spacing[0]).all()):
        of_distance = beside @ np.exp(-x[:, None] * (place[1:] - 1))
        both_ways = scale * np.concatenate([of_distance[::-1], [own_all], of_distance])
        # a row for each block, each the one before moved by one
        covariance = np.ndarray((count, count), float, both_ways, 8 * (count - 1), (-8, 8)).copy()
    else:
        between = np.maximum(np.abs(place[:, None] - place) - 1, 0.0)
        covariance = np.einsum("m,mij->ij", scale * beside, np.exp(-x[:, None, None] * between))
        covariance[np.diag_indices_from(covariance)] = scale * own_all
    diagonal = covariance.ravel()[:: count + 1]
    diagonal += (noise.floor**2 + noise.rounding**2) / noise.proportional**2 + 1e-12 * diagonal[0]
    return covariance
