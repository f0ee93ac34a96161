"""The curve of a decay, without its background."""

import numpy as np

from app.compute.signal.noise import Floats


def exponential(rate: float, time: Floats) -> Floats:
    """exp(−k t), without overflow.

    >>> [f"{value:.3g}" for value in exponential(2.0, np.array([0.0, 1.0, -1e6]))]
    ['1', '0.135', '5.18e+21']
    """
    decayed: Floats = np.exp(-np.minimum(np.maximum(rate * time, -50.0), 700.0))
    return decayed
