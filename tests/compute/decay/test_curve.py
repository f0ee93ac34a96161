"""The fitted curve passes through the fitted readings."""

import numpy as np
import pytest

from app.compute.decay.analysis import analyse_decay
from app.compute.decay.curve import decay_curve
from app.compute.decay.result import Marks


@pytest.mark.parametrize("interval_s", [1.0, 10.0, 60.0])
def test_the_curve_of_an_exact_decay_is_that_decay(interval_s: float):
    """Readings of 4 + 296 exp(-6 t) without noise: the curve gives them back, and the amplitude at unit on is 296.

    A curve that lags by part of a block of readings is off by the decay in that time, one or two percent.
    """
    elapsed_s = np.arange(0, 3601, interval_s)
    levels = 4 + 296 * np.exp(-6 * elapsed_s / 3600)
    decay = analyse_decay(elapsed_s, levels, channel="pm2_5", unit="µg/m³", marks=Marks(unit_on_h=0.0))
    assert decay.fit is not None
    assert decay.fit.amplitude is not None
    assert decay.fit.amplitude.value == pytest.approx(296, rel=2e-3)
    window = (elapsed_s / 3600 >= decay.fit.window_start_h) & (elapsed_s / 3600 <= decay.fit.window_end_h)
    curve, _, _ = decay_curve(decay, elapsed_s[window] / 60)
    assert curve == pytest.approx(levels[window], rel=3e-3)
