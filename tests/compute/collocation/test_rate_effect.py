"""The effect of a curved logger on a rate, against a fit of the curved readings."""

import numpy as np
import pytest
from scipy.optimize import curve_fit

from app.compute.collocation.rate_effect import LoggerLine, rate_change_by_curvature, with_curvature
from app.compute.decay.analysis import analyse_decay
from app.compute.decay.result import ChannelDecay
from app.compute.decay.systematic import LINEARITY, budget_of, parts_of
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


@pytest.fixture(scope="module")
def decay() -> ChannelDecay:
    time_s = np.arange(0.0, 3600.0, 10.0)
    noise = 1 + 0.02 * np.random.default_rng(3).standard_normal(time_s.size)
    return analyse_decay(time_s, (5 + 300 * np.exp(-3.0 * time_s / 3600)) * noise, channel="pm2_5", unit="µg/m³")


def test_a_shown_curvature_takes_the_place_of_the_general_line(decay: ChannelDecay):
    """JCGM 100:2008, 5.1.2: independent parts add as squares; 0.1 % leaves, the part of the curvature enters."""
    line = LoggerLine(Measured(1.0, 0.01), Measured(1e-4, 2e-5), shows_curvature=True)
    wider = with_curvature(decay, line)
    assert decay.fit is not None
    assert wider.fit is not None
    assert decay.fit.decay_rate is not None
    assert wider.fit.decay_rate is not None
    before, after, part = decay.fit.decay_rate, wider.fit.decay_rate, wider.fit.curvature_uncertainty_per_h
    assert after.value == before.value
    assert part > 5 * LINEARITY * before.value
    assert after.uncertainty**2 == pytest.approx(before.uncertainty**2 - (LINEARITY * before.value) ** 2 + part**2)
    share = next(each for each in budget_of(wider.fit) if each.source == "linearity").relative_uncertainty
    assert share == pytest.approx(part / before.value)
    assert parts_of(wider.fit).window == pytest.approx(parts_of(decay.fit).window, abs=1e-9)


def test_a_check_that_shows_no_curvature_changes_nothing(decay: ChannelDecay):
    weak = LoggerLine(Measured(1.0, 0.01), Measured(1e-4, 1e-4), shows_curvature=False)
    slight = LoggerLine(Measured(1.0, 0.01), Measured(1e-7, 1e-8), shows_curvature=True)
    assert with_curvature(decay, weak) is decay
    assert with_curvature(decay, slight) is decay
