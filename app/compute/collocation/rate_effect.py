"""What a curved logger does to a decay rate. A gain cancels, an offset joins the background; a curve does neither."""

import math
from dataclasses import dataclass, replace

import numpy as np

from app.compute.decay.result import ChannelDecay
from app.compute.decay.systematic import LINEARITY
from app.compute.statistics.measured import Measured, at_least_as_wide
from app.compute.statistics.propagation import effective_degrees_of_freedom


@dataclass(frozen=True, slots=True)
class LoggerLine:
    """Slope and curvature [1 over the channel's unit] of a logger against a reference, as one check found them.

    shows_curvature : the 95 % interval of the curvature excludes zero
    """

    slope: Measured
    curvature: Measured
    shows_curvature: bool


def with_curvature(decay: ChannelDecay, line: LoggerLine) -> ChannelDecay:
    r"""The decay with the curvature of its logger in the uncertainty of the rate, in place of the general line.

    .. math:: u^2 = u_{fit}^2 - (0.001\,k)^2 + u_c^2

    A curvature that the check cannot tell from zero, or that does less than the general line, changes nothing: a weak
    check says no more of a logger than no check.
    """
    fit = decay.fit
    if fit is None or fit.decay_rate is None or fit.background is None or fit.amplitude is None:
        return decay
    rate = fit.decay_rate
    if not line.shows_curvature or rate.value <= 0 or fit.amplitude.value <= 0:
        return decay
    curve = (fit.background.value, fit.amplitude.value, rate.value)
    window_h = fit.window_end_h - fit.window_start_h
    of_curvature = rate.value * rate_change_by_curvature(line.slope, line.curvature, curve, window_h)
    more = of_curvature**2 - (LINEARITY * rate.value) ** 2
    if more <= 0:
        return decay
    degrees = effective_degrees_of_freedom([(rate.uncertainty, rate.degrees_of_freedom), (math.sqrt(more), math.inf)])
    wider = Measured(rate.value, math.sqrt(rate.uncertainty**2 + more), degrees)
    fit = replace(fit, decay_rate=at_least_as_wide(wider, rate), curvature_uncertainty_per_h=of_curvature)
    return replace(decay, fit=fit)


def rate_change_by_curvature(
    slope: Measured, curvature: Measured, decay: tuple[float, float, float], window_h: float
) -> float:
    r"""Share of a decay rate by which a logger's curvature can change it, as a standard uncertainty.

    A logger that reads a + b x + c x² adds (c/b²) (C - C_b)² to the excess that a straight one would show. The fit of
    background, amplitude and rate, each reading weighted by 1/C², turns that shape into a change of the rate, which is
    linear in c. The root of c² and its squared uncertainty stands for c, because the curve found is not corrected.

    Parameters
    ----------
    slope, curvature : of the check, against its reference
    decay : background and amplitude [unit of the channel], and rate [1/h]
    window_h : length of the fit window [h]

    >>> straight = rate_change_by_curvature(Measured(1.1, 0.01), Measured(0.0, 0.0), (5.0, 300.0, 3.0), 1.0)
    >>> bent = rate_change_by_curvature(Measured(1.0, 0.0), Measured(1e-4, 0.0), (5.0, 300.0, 3.0), 1.0)
    >>> straight, 0.0 < bent < 0.05
    (0.0, True)
    """
    background, amplitude, rate = decay
    time = np.linspace(0.0, window_h, 200)
    excess = amplitude * np.exp(-rate * time)
    root = 1 / np.maximum(background + excess, 1e-9)
    columns = np.stack([np.ones_like(time), excess / amplitude, -time * excess], axis=1)
    shape = excess**2 / slope.value**2
    moved = np.linalg.lstsq(columns * root[:, None], shape * root, rcond=None)[0]
    return float(abs(moved[2]) * np.hypot(curvature.value, curvature.uncertainty) / rate)
