"""Averaged power spectrum of sampled sound."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

_WANTED_LINE_HZ = 1.0
SHORTEST_S = 3.0


@dataclass(frozen=True, slots=True)
class PowerSpectrum:
    """Mean square in each line; the sum over all lines is the mean square of the samples.

    frequency_hz : middle of each line; all have the same width
    """

    frequency_hz: NDArray[np.float64]
    mean_square: NDArray[np.float64]
    line_width_hz: float


def power_spectrum(samples: ArrayLike, sample_rate_hz: float) -> PowerSpectrum:
    """Welch's averaged periodogram with lines of about 1 Hz, half overlap and a Hann window.

    Parameters
        samples : one channel, any linear unit
        sample_rate_hz : sampling rate
    Returns  mean square for each line [unit²]
    Raises   ValueError for less than 3 s: with lines of 1 Hz a spectrum would have too few averages
    Source   P. D. Welch, IEEE Trans. Audio Electroacoust. 15, 70-73, 1967, from memory; scipy.signal.welch
    """
    from scipy.signal import welch  # loaded when used

    values = np.asarray(samples, dtype=float)
    if values.size < SHORTEST_S * sample_rate_hz:
        raise ValueError(
            f"The clip lasts {values.size / sample_rate_hz:.2f} s; a spectrum needs {SHORTEST_S:g} s or more. "
            "Record longer."
        )
    length = round(sample_rate_hz / _WANTED_LINE_HZ)
    frequency, density = welch(values, sample_rate_hz, "hann", length, length // 2, detrend=False)
    width = float(frequency[1] - frequency[0])
    return PowerSpectrum(frequency, density * width, width)
