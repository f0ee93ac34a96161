"""Precision of the decay rate so far, and what more minutes of the same run would give."""

import math
from dataclasses import dataclass

import numpy as np

from app.compute.decay.result import ChannelDecay
from app.compute.decay.window import FLOOR_SHARE, TAIL_SHARE, time_to_floor_h
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
    predictable : the fit has no note that asks for care, so what more minutes give can be estimated
    more_min, then : minutes of further decay that give `then`; None where no worthwhile gain is left in this run
    """

    now: float
    predictable: bool
    more_min: int | None = None
    then: float | None = None

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
    if any(note.severity != "fine" for note in decay.notes):
        return Precision(now, predictable=False)
    expected = expected_half_widths(decay)
    target = next((each for each in _TARGETS if each <= _WORTHWHILE * now), None)
    reached = np.flatnonzero(expected <= target) if target is not None else np.zeros(0)
    if not reached.size:
        return Precision(now, predictable=True)
    more = int(reached[0]) + 1
    return Precision(now, True, more, float(expected[more - 1]))


def expected_half_widths(decay: ChannelDecay) -> Floats:
    r"""Expected relative half-width after 1, 2, ... more minutes, until the end of the fit window.

    .. math:: \Sigma_{later} = (\Sigma_{now}^{-1} + I_{more} / s^2)^{-1}

    The covariance of (background, amplitude, rate) is that of the fit, to which the information of the readings to come
    is added. Their noise is proportional to the level above a floor; its size s is the one that gives the information
    on the rate that the readings so far have given, so autocorrelation acts on both alike. The coverage factor and the
    parts of the uncertainty that are not noise stay as they are. An estimate: a study compares it with what came.
    """
    fit, now = decay.fit, relative_half_width(decay)
    if fit is None or now is None or fit.decay_rate is None or fit.amplitude is None or fit.background is None:
        return np.zeros(0)
    rate, amplitude, background = fit.decay_rate.value, fit.amplitude.value, max(fit.background.value, 0.0)
    begin_h, length_h = fit.window_start_h - decay.unit_on_h, fit.window_end_h - fit.window_start_h
    at_start = amplitude * math.exp(-rate * begin_h)
    left_h = (1 + TAIL_SHARE) * time_to_floor_h(at_start, rate, FLOOR_SHARE * at_start) - length_h
    more = min(MOST_MORE_MIN, math.floor(60 * left_h)) if math.isfinite(left_h) else 0
    if more < 1 or length_h <= 0 or amplitude <= 0:
        return np.zeros(0)
    step_h = 1 / 60 / _STEPS_A_MIN
    steps = max(round(length_h / step_h), 1)
    time_h: Floats = begin_h + step_h * (np.arange(steps + more * _STEPS_A_MIN, dtype=np.float64) + 0.5)
    slopes, _ = weighted_slopes(time_h, rate, amplitude, background)
    information = information_of_readings(slopes)
    scales = np.array([amplitude, amplitude, rate])
    try:
        known = np.linalg.inv(np.array(fit.covariance) / np.outer(scales, scales))
    except np.linalg.LinAlgError:
        return np.zeros(0)
    so_far = information[steps - 1]
    if not known[2, 2] > 0:
        return np.zeros(0)
    noise = so_far[2, 2] / known[2, 2]
    added = (information[steps + _STEPS_A_MIN - 1 :: _STEPS_A_MIN] - so_far) / noise
    expected = np.sqrt(np.maximum(np.linalg.inv(known + added)[:, 2, 2], 0.0))
    shrinks = expected / math.sqrt(1e-300 + max(float(np.linalg.inv(known)[2, 2]), 0.0))
    uncertainty = fit.decay_rate.uncertainty / rate
    of_noise = min(fit.statistical_uncertainty_per_h / rate, uncertainty)
    other = uncertainty**2 - of_noise**2
    widths: Floats = now / uncertainty * np.sqrt((of_noise * np.minimum(shrinks, 1.0)) ** 2 + other)
    return widths


def weighted_slopes(time_h: Floats, rate: float, amplitude: float, background: float) -> tuple[Floats, Floats]:
    """Slopes of even readings by background, amplitude and rate, each over the noise of its reading, and the level. All
    are relative to amplitude and rate.
    """
    decayed = np.exp(-rate * time_h)
    level = background / amplitude + decayed
    slopes = np.stack([np.ones_like(decayed), decayed, -rate * time_h * decayed], axis=-1)
    return slopes / (level + FLOOR_SHARE)[:, None], level


def information_of_readings(slopes: Floats) -> Floats:
    """Information of readings up to each step, from their `weighted_slopes`."""
    summed: Floats = np.cumsum(slopes[:, :, None] * slopes[:, None, :], axis=0)
    return summed
