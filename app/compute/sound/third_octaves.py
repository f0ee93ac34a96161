"""Third-octave levels of sampled sound, with the base-ten band frequencies of IEC 61260-1."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from app.compute.sound.spectrum import PowerSpectrum, power_spectrum

# nominal frequencies of the bands number 11 to 43 (band 30 is 1 kHz)
NOMINAL_HZ = (
    *(12.5, 16, 20, 25, 31.5, 40, 50, 63, 80, 100, 125, 160, 200, 250, 315, 400, 500, 630, 800, 1000, 1250, 1600, 2000),
    *(2500, 3150, 4000, 5000, 6300, 8000, 10000, 12500, 16000, 20000),
)
_FIRST_BAND = 11


@dataclass(frozen=True, slots=True)
class ThirdOctave:
    """Level of one band. Edges and middle are exact: 1000 · 10^((n - 30 ± 0.5)/10) Hz."""

    nominal_hz: float
    low_hz: float
    middle_hz: float
    high_hz: float
    mean_square: float


def third_octaves(samples: ArrayLike, sample_rate_hz: float) -> tuple[ThirdOctave, ...]:
    r"""Mean square of the samples in each third-octave band from 12.5 Hz to below half the sampling rate.

    Band n has the middle :math:`f_n = 1000 \cdot 10^{(n-30)/10}` Hz and the edges :math:`f_n 10^{\pm 1/20}` [1]_.
    The lines of an averaged spectrum are added up inside the edges; a line on an edge is shared. Unlike the filters
    of IEC 61260-1 the bands have vertical edges.

    Returns  one entry for each band that lies entirely below half the sampling rate
    Raises   ValueError for too few samples (see `power_spectrum`)

    References
    .. [1] IEC 61260-1:2014, base ten; the frequencies recomputed.
    """
    spectrum = power_spectrum(samples, sample_rate_hz)
    bands = []
    for index, nominal_hz in enumerate(NOMINAL_HZ):
        middle = 1000 * 10 ** ((index + _FIRST_BAND - 30) / 10)
        low, high = middle * 10**-0.05, middle * 10**0.05
        if high > sample_rate_hz / 2:
            break
        bands.append(ThirdOctave(nominal_hz, low, middle, high, mean_square_between(spectrum, low, high)))
    return tuple(bands)


def mean_square_between(spectrum: PowerSpectrum, low_hz: float, high_hz: float) -> float:
    """Mean square between two frequencies; a line at an edge counts with the share of its width inside."""
    width = spectrum.line_width_hz
    inside: NDArray[np.float64] = np.clip(
        (np.minimum(spectrum.frequency_hz + width / 2, high_hz) - np.maximum(spectrum.frequency_hz - width / 2, low_hz))
        / width,
        0.0,
        1.0,
    )
    return float(np.sum(inside * spectrum.mean_square))
