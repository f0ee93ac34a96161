"""Precision of the decay rate so far, and what more minutes of the same run would give."""

import math
from dataclasses import dataclass

import numpy as np

from app.compute.decay.result import ChannelDecay
from app.compute.decay.window import FLOOR_SHARE, time_to_floor_h
from app.compute.signal.noise import Floats

# Half-width of the 95 % interval over the rate at which a run may be stopped. Only the width decides, never the value:
# a study of simulated runs checks that intervals stopped by this rule still have their coverage.
STOP_AT = 0.05
MOST_MORE_MIN = 120
_STEPS_A_MIN = 4
# Precisions that the next step of the advice aims at.
_TARGETS = (0.30, 0.20, 0.15, 0.10, 0.07, 0.05, 0.04, 0.03, 0.02, 0.015, 0.01, 0.007, 0.005)
_WORTHWHILE = 0.85  # of the present half-width: a smaller gain is not worth mentioning


@dataclass(frozen=True, slots=True)
class Precision:
    """Half-width of the 95 % interval over the rate.

    now : reached so far
    more_min, then : minutes of further decay that give `then`; None where no worthwhile gain is left in this run
    """

    now: float
    more_min: int | None
    then: float | None

    @property
    def may_stop(self) -> bool:
        return self.now <= STOP_AT


def relative_half_width(decay: ChannelDecay) -> float | None:
    """Half-width of the 95 % interval over the rate; None without a rate above zero."""
    rate = decay.fit.decay_rate if decay.fit else None
    if rate is None or rate.value <= 0:
        return None
    return rate.expanded_uncertainty_95 / rate.value


def precision_of(decay: ChannelDecay) -> Precision | None:
    """Precision now, and the next round figure that more minutes of this decay would give; None without a rate."""
    now = relative_half_width(decay)
    if now is None:
        return None
    expected = expected_half_widths(decay)
    target = next((each for each in _TARGETS if each <= _WORTHWHILE * now), None)
    if target is None or not expected.size:
        return Precision(now, None, None)
    reached = np.flatnonzero(expected <= target)
    if reached.size:
        more = int(reached[0]) + 1
        return Precision(now, more, float(expected[more - 1]))
    return Precision(now, None, None)


def expected_half_widths(decay: ChannelDecay) -> Floats:
    r"""Expected relative half-width after 1, 2, ... more minutes, until the excess reaches the floor of the fit window.

    The covariance of (background, amplitude, rate) is the inverse of the information of readings spread evenly over the
    window, with noise proportional to the level above a floor, and a background anywhere between zero and the lowest
    level (variance of a uniform distribution). The size of the noise is the one that gives the uncertainty of the fit
    so far. Parts of the uncertainty that are not noise stay as they are. An estimate: autocorrelation is assumed to act
    on the longer window as on the present one.
    """
    fit, now = decay.fit, relative_half_width(decay)
    if fit is None or now is None or fit.decay_rate is None or fit.amplitude is None or fit.background is None:
        return np.zeros(0)
    rate, amplitude, background = fit.decay_rate.value, fit.amplitude.value, max(fit.background.value, 0.0)
    begin_h, length_h = fit.window_start_h - decay.unit_on_h, fit.window_end_h - fit.window_start_h
    at_start = amplitude * math.exp(-rate * begin_h)
    left_h = time_to_floor_h(at_start, rate, FLOOR_SHARE * at_start) - length_h
    more = min(MOST_MORE_MIN, math.floor(60 * left_h)) if math.isfinite(left_h) else 0
    if more < 1 or length_h <= 0 or amplitude <= 0:
        return np.zeros(0)
    steps = max(round(60 * length_h * _STEPS_A_MIN), 8)
    step_h = length_h / steps
    minutes = np.arange(more + 1)
    ends = np.minimum(steps + np.round(minutes / 60 / step_h).astype(int), 200_000)
    time_h: Floats = begin_h + step_h * (np.arange(int(ends[-1]), dtype=np.float64) + 0.5)
    information, lowest = _information(time_h, rate, amplitude, background)
    information, lowest = information[ends - 1], lowest[ends - 1]
    prior = 12.0 * (amplitude / lowest) ** 2  # of the background in units of the amplitude
    scale = _noise_scale(information[0], prior[0], fit.statistical_uncertainty_per_h / rate)
    expected = _relative_uncertainty(information / scale**2, prior)
    of_noise = fit.statistical_uncertainty_per_h / rate
    other = max((fit.decay_rate.uncertainty / rate) ** 2 - of_noise**2, 0.0)
    factor = now / (fit.decay_rate.uncertainty / rate) if fit.decay_rate.uncertainty > 0 else 0.0
    widths: Floats = factor * np.sqrt(np.minimum(expected, of_noise) ** 2 + other)
    return widths[1:]


def _information(time_h: Floats, rate: float, amplitude: float, background: float) -> tuple[Floats, Floats]:
    """Information after each step, for parameters relative to amplitude and rate, and the level there."""
    decayed = np.exp(-rate * time_h)
    level = background + amplitude * decayed
    noise = (level + FLOOR_SHARE * amplitude) / amplitude
    slopes = np.stack([np.ones_like(decayed), decayed, -rate * time_h * decayed], axis=-1) / noise[:, None]
    return np.cumsum(slopes[:, :, None] * slopes[:, None, :], axis=0), level


def _relative_uncertainty(information: Floats, prior: Floats) -> Floats:
    known = information.copy()
    known[..., 0, 0] += prior
    uncertainty: Floats = np.sqrt(np.linalg.inv(known)[..., 2, 2])
    return uncertainty


def _noise_scale(information: Floats, prior: float, wanted: float) -> float:
    """Size of the noise at which the rate has the wanted relative uncertainty, by bisection."""
    low, high = -18.0, 6.0
    for _ in range(50):
        middle = (low + high) / 2
        found = float(_relative_uncertainty(information / 10.0 ** (2 * middle), np.asarray(prior)))
        low, high = (middle, high) if found < wanted else (low, middle)
    return float(10.0**low)
