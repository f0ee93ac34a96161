r"""A and C weighting of sampled sound, within the class 1 limits of IEC 61672-1 at any usual sampling rate.

The weightings are products of simple first-order parts [1]_:

.. math::

    R_A(f) = \frac{f_4^2 f^4}{(f^2+f_1^2)\sqrt{(f^2+f_2^2)(f^2+f_3^2)}(f^2+f_4^2)},\qquad
    R_C(f) = \frac{f_4^2 f^2}{(f^2+f_1^2)(f^2+f_4^2)}

The low part (f1, f2, f3) lies far below half the sampling rate, where the bilinear transform is exact enough. The
high part, 1/(1 + f²/f4²), does not: there the transform loses many decibels towards half the sampling rate. So it is
a filter of finite length with linear phase, designed from the wanted gain, and its delay is removed.

.. [1] IEC 61672-1:2013, Annex E. Values of f1 to f4 recomputed; with them the formula gives every printed value.
"""

import math
from functools import lru_cache
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

Weighting = Literal["A", "C", "Z"]
Samples = NDArray[np.float64]

F1_HZ, F2_HZ, F3_HZ, F4_HZ = 20.598997, 107.65265, 737.86223, 12194.217
_TAPS = 129
LOWEST_SAMPLE_RATE_HZ = 8000


def weighting_db(frequency_hz: ArrayLike, weighting: Weighting) -> Samples:
    """Weighting at frequencies by the formula, zero at 1 kHz [dB].

    Source: IEC 61672-1:2013, Annex E; A values in Table 3 read in two public transcriptions.
    Raises   ValueError for a weighting other than A, C, Z

    >>> [round(float(value), 1) for value in weighting_db([31.6228, 1000.0, 10000.0], "A")]
    [-39.4, 0.0, -2.5]
    """
    f = np.asarray(frequency_hz, dtype=float)
    if weighting == "Z":
        return np.zeros_like(f)
    gain = _formula(f, weighting) / _formula(np.array(1000.0), weighting)
    with np.errstate(divide="ignore"):
        decibels: Samples = 20 * np.log10(gain)
    return decibels


def weighted(samples: ArrayLike, sample_rate_hz: float, weighting: Weighting) -> Samples:
    """Samples after frequency weighting, as long as before, with the filter's delay removed.

    Parameters
        samples : sound pressure over time, one channel, any linear unit
        sample_rate_hz : 8,000 Hz or more
        weighting : "A", "C" or "Z" (none)
    Returns  weighted samples in the same unit
    Raises   ValueError for another weighting or a lower sampling rate
    """
    from scipy.signal import oaconvolve, sosfilt  # loaded when used

    values = np.asarray(samples, dtype=float)
    if weighting == "Z":
        return values
    sections, taps = _filter(float(sample_rate_hz), weighting)
    shaped: Samples = sosfilt(sections, oaconvolve(values, taps, mode="same"))
    return shaped


def response_db(frequency_hz: ArrayLike, sample_rate_hz: float, weighting: Weighting) -> Samples:
    """Gain of the filter that `weighted` applies, at frequencies below half the sampling rate [dB]."""
    from scipy.signal import freqz, freqz_sos  # loaded when used

    f = np.asarray(frequency_hz, dtype=float)
    if weighting == "Z":
        return np.zeros_like(f)
    sections, taps = _filter(float(sample_rate_hz), weighting)
    _, low = freqz_sos(sections, f, fs=sample_rate_hz)
    _, high = freqz(taps, 1.0, f, fs=sample_rate_hz)
    gain: Samples = 20 * np.log10(np.abs(low * high))
    return gain


def _formula(f: Samples, weighting: Weighting) -> Samples:
    if weighting not in ("A", "C"):
        raise ValueError(f"The weighting {weighting!r} is not known; choose A, C or Z.")
    c: Samples = F4_HZ**2 * f**2 / ((f**2 + F1_HZ**2) * (f**2 + F4_HZ**2))
    return c if weighting == "C" else c * f**2 / np.sqrt((f**2 + F2_HZ**2) * (f**2 + F3_HZ**2))


@lru_cache(maxsize=16)
def _filter(sample_rate_hz: float, weighting: Weighting) -> tuple[Samples, Samples]:
    """Second-order sections of the low part and taps of the high part; together 0 dB at 1 kHz."""
    from scipy.signal import bilinear_zpk, firls, freqz, freqz_sos, zpk2sos  # loaded when used

    if weighting not in ("A", "C"):
        raise ValueError(f"The weighting {weighting!r} is not known; choose A, C or Z.")
    if not sample_rate_hz >= LOWEST_SAMPLE_RATE_HZ:
        raise ValueError(
            f"The sampling rate is {sample_rate_hz:g} Hz; frequency weighting needs {LOWEST_SAMPLE_RATE_HZ} Hz or more."
        )
    poles_hz = (F1_HZ, F1_HZ, F2_HZ, F3_HZ) if weighting == "A" else (F1_HZ, F1_HZ)
    # the transform warps frequencies; each pole is moved so that it ends up at the right frequency
    poles = [-2 * sample_rate_hz * math.tan(math.pi * pole / sample_rate_hz) for pole in poles_hz]
    zeros, digital_poles, gain = bilinear_zpk([0.0] * len(poles), poles, 1.0, fs=sample_rate_hz)
    sections: Samples = zpk2sos(zeros, digital_poles, gain)
    edges = np.repeat(np.linspace(0, sample_rate_hz / 2, 400), 2)[1:-1]
    taps: Samples = firls(_TAPS, edges, 1 / (1 + (edges / F4_HZ) ** 2), fs=sample_rate_hz)
    at_1_khz = np.array([1000.0])
    _, low = freqz_sos(sections, at_1_khz, fs=sample_rate_hz)
    _, high = freqz(taps, 1.0, at_1_khz, fs=sample_rate_hz)
    return sections, taps / float(np.abs(low * high)[0])
