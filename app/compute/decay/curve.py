"""The fitted curve of a decay and its band, for charts."""

import numpy as np
from numpy.typing import ArrayLike

from app.compute.decay.result import ChannelDecay
from app.compute.signal.exponential import exponential
from app.compute.signal.noise import Floats


def decay_curve(decay: ChannelDecay, minutes: ArrayLike) -> tuple[Floats, Floats, Floats]:
    """Fitted level and its 95 % band at minutes from unit on: (level, low, high) [unit of the channel].

    Not-a-number everywhere where there is no fit. The band is that of the curve, not of single readings.
    """
    time_h = np.asarray(minutes, dtype=float) / 60
    fit = decay.fit
    if fit is None or fit.decay_rate is None or fit.background is None or fit.amplitude is None:
        nothing = np.full(time_h.shape, np.nan)
        return nothing, nothing.copy(), nothing.copy()
    rate, amplitude = fit.decay_rate.value, fit.amplitude.value
    decayed = exponential(rate, time_h)
    level = fit.background.value + amplitude * decayed
    gradient = np.stack([np.ones_like(time_h), decayed, -amplitude * time_h * decayed], axis=-1)
    variance = np.einsum("...i,ij,...j->...", gradient, np.array(fit.covariance), gradient)
    factor = fit.decay_rate.expanded_uncertainty_95 / max(fit.decay_rate.uncertainty, 1e-300)
    spread = factor * np.sqrt(np.maximum(variance, 0.0))
    return level, level - spread, level + spread
