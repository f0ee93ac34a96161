"""The effect of a curved logger on a rate, against a fit of the curved readings."""

import numpy as np
import pytest
from scipy.optimize import curve_fit

from app.compute.collocation.rate_effect import rate_change_by_curvature
from app.compute.statistics.measured import Measured


@pytest.mark.parametrize("curvature", [2e-5, -2e-5])
@pytest.mark.parametrize("gain", [0.8, 1.25])
def test_the_change_is_that_of_a_fit_to_curved_readings(curvature: float, gain: float):
    """scipy's least squares, with the same weights, fits what a logger with gain, offset and curvature shows."""
    time = np.linspace(0.0, 1.2, 200)
    excess = 300 * np.exp(-3.0 * time)
    shown = 2.0 + gain * (5.0 + excess) + curvature * (5.0 + excess) ** 2

    def decay(t: np.ndarray, background: float, amplitude: float, rate: float) -> np.ndarray:
        return background + amplitude * np.exp(-rate * t)

    straight = 2.0 + gain * (5.0 + excess)
    found, _ = curve_fit(decay, time, shown, p0=[5.0, 300.0, 3.0], sigma=straight)
    expected = abs(found[2] - 3.0) / 3.0
    change = rate_change_by_curvature(
        Measured(gain, 0.0), Measured(curvature, 0.0), (2.0 + gain * 5.0, gain * 300.0, 3.0), 1.2
    )
    assert change == pytest.approx(expected, rel=0.05)


def test_an_unknown_curvature_counts_as_much_as_a_known_one():
    decay = (5.0, 300.0, 3.0)
    known = rate_change_by_curvature(Measured(1.0, 0.0), Measured(3e-5, 0.0), decay, 1.0)
    unknown = rate_change_by_curvature(Measured(1.0, 0.0), Measured(0.0, 3e-5), decay, 1.0)
    assert known == unknown > 0
