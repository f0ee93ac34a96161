"""Noise of a logger that shows nothing below zero: near zero it has only one side, so means are too high and too calm.

.. math:: E[\\max(c + s z, 0)] = c\\,\\Phi(u) + s\\,\\varphi(u), \\quad P(0) = \\Phi(-u), \\quad u = (c - d/2)/s

with c the level, s the standard deviation of a reading there, z standard normal, and d the display's step [1]_.

References
.. [1] J. Tobin, "Estimation of Relationships for Limited Dependent Variables", Econometrica 26, 1958 (from memory).
"""

import math

import numpy as np
from scipy.special import ndtri

from app.compute.signal.noise import Floats

FEWEST_ZEROS = 3
LARGEST_SHARE = 0.9  # of zeros: beyond it the noise cannot be estimated
# Standard deviations above half a step from which on the cut-off counts: there it adds 3 % of one to a mean.
CLEAR_OF_ZERO = 1.5


def lowest_level(levels: Floats, step: float) -> float:
    """Level below which the noise of a reading is cut off at zero; minus infinity where nothing suggests that it is.

    Of normal noise cut off at half a step, the share of zeros and the mean of the rest give both c and s. They are
    taken from the readings after the first zero.

    >>> rng = np.random.default_rng(1)
    >>> round(lowest_level(np.maximum(np.round(0.2 + 0.3 * rng.standard_normal(4000), 1), 0), 0.1), 2)
    0.51
    >>> lowest_level(np.array([5.0, 3.0, 2.0, 1.0, 1.0, 0.0, 0.0, 0.0, 0.0]), 1.0)
    -inf
    """
    zeros = np.flatnonzero(levels == 0)
    if zeros.size < FEWEST_ZEROS or float(levels.min()) < 0:
        return -math.inf
    near = levels[zeros[0] :]
    share = zeros.size / near.size
    if share > LARGEST_SHARE:
        return -math.inf
    above = float(ndtri(1 - share))
    excess = float(near.mean()) - 0.5 * step * (1 - share)
    noise = excess / (math.exp(-0.5 * above * above) / math.sqrt(2 * math.pi) + above * (1 - share))
    # less noise than a step is rounding
    return 0.5 * step + CLEAR_OF_ZERO * noise if noise > step else -math.inf
