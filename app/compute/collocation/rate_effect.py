"""What a curved logger does to a decay rate. A gain cancels, an offset joins the background; a curve does neither."""

import numpy as np

from app.compute.statistics.measured import Measured


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
