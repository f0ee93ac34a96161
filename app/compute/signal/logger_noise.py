"""Noise of one logger as its trials show it: how probable each kind of noise is before the next trial is fitted.

Each trial gives the likelihood of every kind of noise (`noise_settings.KINDS`). The shares of the kinds in the trials
of a logger maximise the likelihood of all its trials together, with the generic shares as a prior that counts as a
number of trials [1]_: empirical Bayes for a mixture whose components are known.

References
.. [1] A. P. Dempster, N. M. Laird, D. B. Rubin, "Maximum Likelihood from Incomplete Data via the EM Algorithm",
   J. R. Stat. Soc. B 39, 1977, sect. 4.3 (finite mixtures; from memory).
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from app.compute.signal.noise import Floats
from app.compute.signal.noise_settings import MEMORIES_S, MIXTURES

GENERIC_TRIALS = 1.0  # that the generic shares count for; common practice, no source
MOST_TRIALS = 40  # of a logger that are learned from
STEPS = 60  # of the search, always as many, so that the same trials give the same digits
EVIDENCE_STEP = 0.1  # of log likelihood, to which it is stored
LEAST_LOG = -30.0  # of the likelihood of a kind over that of the likeliest

# Shares of a logger of which no trial is known: memories up to here are equally probable by octave, longer ones less.
# Common practice, no source.
SELDOM_ABOVE_S = 1536.0
FLICKER_SHARE = 0.05
WHITE_SHARE = 0.1


def _generic() -> Floats:
    by_memory = np.minimum(1.0, SELDOM_ABOVE_S / MEMORIES_S)
    each = np.tile(by_memory / by_memory.sum(), len(MIXTURES)) / len(MIXTURES)
    return np.concatenate([[WHITE_SHARE, FLICKER_SHARE], (1 - FLICKER_SHARE - WHITE_SHARE) * each])


@dataclass(frozen=True)
class LoggerNoise:
    """shares : probability of each kind of noise;  trials : of this logger that they were learned from, 0: generic"""

    shares: tuple[float, ...]
    trials: int = 0

    @cached_property
    def probability(self) -> Floats:
        return np.array(self.shares)


GENERIC = LoggerNoise(tuple(round(float(share), 6) for share in _generic()))


def evidence_of(likelihood: Floats) -> tuple[float, ...]:
    """Log likelihood of each kind of noise over that of the likeliest, as it is stored."""
    decimals = round(-math.log10(EVIDENCE_STEP))
    return tuple(np.maximum(likelihood - likelihood.max(), LEAST_LOG).round(decimals).tolist())


def learn(evidence: Sequence[Sequence[float]]) -> LoggerNoise:
    """The noise of a logger from the evidence of its trials; generic without any.

    >>> silent = [-20.0] * GENERIC.probability.size
    >>> flicker = [-20.0, 0.0, *silent[2:]]
    >>> round(learn([flicker] * 9).shares[1], 2)
    0.91
    """
    if not evidence:
        return GENERIC
    likelihood = np.exp(np.array(evidence))
    shares = GENERIC.probability
    for _ in range(STEPS):
        of_trial = likelihood * shares
        of_trial /= of_trial.sum(axis=1, keepdims=True)
        shares = (GENERIC_TRIALS * GENERIC.probability + of_trial.sum(axis=0)) / (GENERIC_TRIALS + len(evidence))
    return LoggerNoise(tuple(round(float(share), 6) for share in shares), len(evidence))
