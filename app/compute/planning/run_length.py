"""How the uncertainty of a fitted rate falls with the length of the run, and how long a run should be."""

import math
from dataclasses import dataclass

import numpy as np

from app.compute.decay.systematic import WARM_UP_H, WARM_UP_SHARE
from app.compute.decay.window import FLOOR_SHARE, TAIL_SHARE, time_to_floor_h
from app.compute.live_runs.precision import information_of_readings, weighted_slopes
from app.compute.signal.noise import Floats

LENGTHS_MIN = tuple(range(15, 245, 5))
# Of the spread between runs: the error of a fit that adds 12 % to it. Common practice, no source.
FIT_OVER_SPREAD = 0.5
_WORTHWHILE = 1.05  # of the least uncertainty: a longer run gains too little to be advised
_STEPS_A_MIN = 4
_STEPS_OF_SEARCH = 60


@dataclass(frozen=True, slots=True)
class RunSeen:
    """The fit of an earlier run, as a model of the runs to come.

    amplitude, background : excess at the start of the fit window, and background, in the unit of the channel
    length_min : length of the fit window; before_min : from the log's first reading to the window's start
    noise_per_h : part of the uncertainty of the rate that comes from the noise of the readings
    """

    rate_per_h: float
    amplitude: float
    background: float
    length_min: float
    before_min: float
    noise_per_h: float


@dataclass(frozen=True, slots=True)
class RunLength:
    """Advised length of the fit window, and the uncertainty of the fitted rate that it gives.

    noise_per_h, warm_up_per_h : parts of that uncertainty; repeats average out the first alone
    is_enough : the fit then adds little to the spread between runs
    """

    minutes: int
    noise_per_h: float
    warm_up_per_h: float
    is_enough: bool

    @property
    def uncertainty_per_h(self) -> float:
        return math.hypot(self.noise_per_h, self.warm_up_per_h)


def parts_by_length(seen: RunSeen) -> tuple[Floats, Floats]:
    r"""Standard uncertainties of the fitted rate by noise and by warm-up, for each of `LENGTHS_MIN`. [1/h]

    .. math:: \Sigma_T = (I_T/s^2 + P)^{-1}

    I_T is the information of even readings up to T on background, amplitude and rate; the size s of the noise is the
    one that gives the uncertainty of the run seen. P: the background is known to within its own size from the readings
    before the smoke. The warm-up of the sensor is added as the analysis adds it. Nothing is gained once the excess has
    fallen to the floor and as long again.
    """
    ends_h = (1 + TAIL_SHARE) * time_to_floor_h(seen.amplitude, seen.rate_per_h, FLOOR_SHARE * seen.amplitude)
    lengths = [min(minutes, max(math.floor(60 * ends_h), LENGTHS_MIN[0])) for minutes in LENGTHS_MIN]
    longest = max(*lengths, round(seen.length_min))
    time_h: Floats = (np.arange(longest * _STEPS_A_MIN, dtype=np.float64) + 0.5) / (60 * _STEPS_A_MIN)
    slopes, level = weighted_slopes(time_h, seen.rate_per_h, seen.amplitude, seen.background)
    by_minutes = information_of_readings(slopes)[_STEPS_A_MIN - 1 :: _STEPS_A_MIN]
    prior = np.zeros((3, 3))
    prior[0, 0] = 1.0 / max(seen.background / seen.amplitude, FLOOR_SHARE) ** 2
    prior[1, 1] = prior[2, 2] = 1e-9  # so that a minute's readings can be inverted
    precision = _precision_of_reading(seen, by_minutes[max(round(seen.length_min), 1) - 1], prior)
    places = np.array(lengths) - 1
    covariances = np.linalg.inv(by_minutes[places] * precision + prior)
    warming = WARM_UP_SHARE * level * np.exp(-(seen.before_min / 60 + time_h) / WARM_UP_H) / (level + FLOOR_SHARE)
    pulled = np.cumsum(slopes * warming[:, None], axis=0)  # what the excess of the gain adds to the normal equations
    pull = pulled[_STEPS_A_MIN - 1 :: _STEPS_A_MIN][places] * precision
    noise: Floats = seen.rate_per_h * np.sqrt(np.maximum(covariances[:, 2, 2], 0.0))
    warm_up: Floats = seen.rate_per_h * np.abs((covariances[:, 2, :] * pull).sum(axis=1))
    return noise, warm_up


def _precision_of_reading(seen: RunSeen, so_far: Floats, prior: Floats) -> float:
    """1/s², by bisection: with it the run seen has the uncertainty that it has."""
    low, high = math.log(1e-9), math.log(1e9)
    for _ in range(_STEPS_OF_SEARCH):
        middle = (low + high) / 2
        found = math.sqrt(float(np.linalg.inv(so_far * math.exp(-2 * middle) + prior)[2, 2]))
        low, high = (middle, high) if found < seen.noise_per_h / seen.rate_per_h else (low, middle)
    return math.exp(-low - high)


def advised_length(seen: RunSeen, spread_per_h: float) -> RunLength:
    """The shortest run whose fit is known to half the spread between runs: after it a further run helps more than a
    longer one. Where no length gives that, the one after which hardly anything is gained.

    >>> slow = RunSeen(rate_per_h=1.0, amplitude=300.0, background=5.0, length_min=60, before_min=20, noise_per_h=0.02)
    >>> advised_length(slow, 0.04).minutes > advised_length(slow, 0.4).minutes
    True
    """
    noise, warm_up = parts_by_length(seen)
    by_length = np.hypot(noise, warm_up)
    enough = np.flatnonzero(by_length <= FIT_OVER_SPREAD * spread_per_h)
    place = int(enough[0] if enough.size else np.flatnonzero(by_length <= _WORTHWHILE * by_length.min())[0])
    return RunLength(LENGTHS_MIN[place], float(noise[place]), float(warm_up[place]), bool(enough.size))
