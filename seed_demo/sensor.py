"""Simulates a small optical logger: from the true level to the recorded number."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Curve = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class SensorCharacter:
    """Errors of one detector.

    gain : reading over true level, dry
    proportional_noise, floor_noise : standard deviation as a share of the level, and at level zero [unit of channel]
    correlation_time_s : correlation time of the noise [s]
    response_time_s : time constant of the step response [s]
    step : display step [unit of channel]
    saturation_level : highest number that it can write; None: none is reached
    kappa_over_density : hygroscopicity of the particles over their density, 0 with a heated inlet
    calibrated_at_percent : relative humidity of the calibration [%]
    """

    gain: float = 1.0
    proportional_noise: float = 0.015
    floor_noise: float = 0.4
    correlation_time_s: float = 25.0
    response_time_s: float = 6.0
    step: float = 0.1
    saturation_level: float | None = None
    kappa_over_density: float = 0.0
    calibrated_at_percent: float = 45.0


def growth(relative_humidity: Curve | float, kappa_over_density: float) -> Curve:
    r"""Wet over dry particle mass, by which an unheated optical detector over-reads.

    .. math:: g = 1 + \frac{\kappa/\rho}{1/a_w - 1}, \qquad a_w = \mathrm{RH}/100 \le 0.95

    The form follows from volume growth by κ (Petters and Kreidenweis 2007); used here in this mass form from memory.

    >>> float(growth(50.0, 0.24))
    1.24
    """
    activity = np.clip(np.asarray(relative_humidity, dtype=float) / 100.0, 0.0, 0.95)
    return 1.0 + kappa_over_density * activity / (1.0 - activity)


def answer(true_level: Curve, step_s: float, response_time_s: float) -> Curve:
    r"""First-order response of the detector.

    .. math:: y_{i+1} = y_i + (1 - e^{-\Delta t/\tau})(x_i - y_i)

    >>> answer(np.array([0.0, 1.0, 1.0]), step_s=1.0, response_time_s=1.0).round(3).tolist()
    [0.0, 0.632, 0.865]
    """
    from scipy.signal import lfilter  # loaded when used

    share = 1.0 - np.exp(-step_s / response_time_s)
    rest = (1.0 - share) * true_level[0]
    return np.asarray(lfilter([share], [1.0, share - 1.0], true_level, zi=[rest])[0])


def wandering_noise(count: int, interval_s: float, correlation_time_s: float, rng: np.random.Generator) -> Curve:
    r"""First-order autoregressive noise of unit standard deviation.

    .. math:: e_i = \varphi e_{i-1} + \sqrt{1 - \varphi^2}\,\epsilon_i, \qquad \varphi = e^{-\Delta t/\tau}
    """
    from scipy.signal import lfilter  # loaded when used

    phi = float(np.exp(-interval_s / correlation_time_s))
    fresh = rng.standard_normal(count)
    fresh[1:] *= np.sqrt(1 - phi**2)
    return np.asarray(lfilter([1.0], [1.0, -phi], fresh))


def write_down(
    true_level: Curve,
    relative_humidity: Curve,
    step_s: float,
    interval_s: float,
    character: SensorCharacter,
    rng: np.random.Generator,
) -> Curve:
    """Readings at the end of each interval: gain and growth, response, mean over the interval, noise, saturation,
    display step. `true_level` comes every `step_s`; an incomplete interval at the end is dropped.
    """
    wet = growth(relative_humidity, character.kappa_over_density)
    wet = wet / growth(character.calibrated_at_percent, character.kappa_over_density)
    seen = answer(true_level * character.gain * wet, step_s, character.response_time_s)
    each = round(interval_s / step_s)
    count = len(seen) // each
    averaged = seen[: count * each].reshape(count, each).mean(axis=1)
    spread = np.hypot(character.proportional_noise * averaged, character.floor_noise)
    noisy = averaged + spread * wandering_noise(count, interval_s, character.correlation_time_s, rng)
    highest = np.inf if character.saturation_level is None else character.saturation_level
    steps = np.round(np.clip(noisy, 0.0, highest) / character.step)
    shown: Curve = np.round(steps * character.step, 6)
    return shown
