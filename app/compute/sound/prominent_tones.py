r"""Prominent discrete tones by the prominence ratio of ECMA-418-1.

The power in the critical band around a tone is compared with the mean of the two adjacent critical bands:

.. math:: \Delta L_P = 10 \lg \frac{W_M}{\tfrac12 (W_L + W_U)}

A tone is prominent at 9 dB and more from 1 kHz on, and at :math:`9 + 10 \lg (1000/f_t)` dB and more below, for tones
from 89.1 Hz to 11,200 Hz. Standing: band widths, edges and criteria read second-hand, in the tests of a public
library that transcribe ECMA-418-1:2024 (clauses 10 and 12) and in a second public implementation of ECMA-74 Annex D;
the standard itself was not opened.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from app.compute.sound.spectrum import PowerSpectrum, power_spectrum
from app.compute.sound.third_octaves import mean_square_between

METHOD = "prominence ratio, ECMA-418-1"
LOWEST_TONE_HZ, HIGHEST_TONE_HZ = 89.1, 11200.0
_ONLY_20_HZ_BELOW = 171.4  # the lower neighbour of such a tone begins at 20 Hz and is scaled to 100 Hz
_PEAK_OVER_SURROUNDINGS = 10 ** (6 / 10)  # a line this far above the median around it is a candidate: 6 dB, our choice


@dataclass(frozen=True, slots=True)
class Tone:
    """A tone and its prominence.

    prominence_ratio_db, criterion_db : the ratio, and the ratio from which it counts as prominent
    mean_square : of the critical band around it, in the unit of the samples squared
    """

    frequency_hz: float
    prominence_ratio_db: float
    criterion_db: float
    mean_square: float

    @property
    def prominent(self) -> bool:
        return self.prominence_ratio_db >= self.criterion_db

    @property
    def margin_db(self) -> float:
        return self.prominence_ratio_db - self.criterion_db


def critical_band_hz(frequency_hz: float) -> tuple[float, float]:
    r"""Edges of the critical band around a tone.

    .. math:: \Delta f = 25 + 75 \left(1 + 1.4 (f/1000)^2\right)^{0.69}

    arithmetic around the tone up to 500 Hz, geometric above [Hz]

    >>> [round(edge, 1) for edge in critical_band_hz(1000.0)]
    [922.2, 1084.4]
    """
    width = 25 + 75 * (1 + 1.4 * (frequency_hz / 1000) ** 2) ** 0.69
    if frequency_hz <= 500:
        return frequency_hz - width / 2, frequency_hz + width / 2
    low = -width / 2 + math.sqrt(width**2 + 4 * frequency_hz**2) / 2
    return low, low + width


def neighbour_edges_hz(frequency_hz: float) -> tuple[float, float]:
    """Lower edge of the band below and upper edge of the band above a tone's critical band [Hz]."""
    f = frequency_hz
    if f < _ONLY_20_HZ_BELOW:
        low = 20.0
    elif f <= 1600:
        low = -149.5 + 1.001 * f - 6.90e-5 * f**2
    else:
        low = 6.8 + 0.806 * f - 8.20e-6 * f**2
    high = 149.5 + 1.035 * f + 7.70e-5 * f**2 if f <= 1600 else 3.3 + 1.215 * f + 2.16e-5 * f**2
    return low, high


def criterion_db(frequency_hz: float) -> float:
    """Prominence ratio from which a tone counts as prominent [dB].

    >>> criterion_db(2000.0), round(criterion_db(100.0), 6)
    (9.0, 19.0)
    """
    return 9.0 + max(0.0, 10 * math.log10(1000 / frequency_hz))


def prominence_of(spectrum: PowerSpectrum, frequency_hz: float) -> Tone:
    """Prominence ratio at one frequency; infinite where the adjacent bands have no power."""
    low, high = critical_band_hz(frequency_hz)
    lowest, highest = neighbour_edges_hz(frequency_hz)
    middle = mean_square_between(spectrum, low, high)
    below = mean_square_between(spectrum, lowest, low)
    if frequency_hz <= _ONLY_20_HZ_BELOW:
        below *= 100 / (low - lowest)
    beside = (below + mean_square_between(spectrum, high, highest)) / 2
    ratio = 10 * math.log10(middle / beside) if middle > 0 and beside > 0 else math.inf if middle > 0 else -math.inf
    return Tone(frequency_hz, ratio, criterion_db(frequency_hz), middle)


def find_tones(samples: ArrayLike, sample_rate_hz: float) -> tuple[Tone, ...]:
    """Candidate tones of the spectrum, highest ratio first; not all of them are prominent.

    Candidates are the highest lines of their critical band, at least 6 dB above its median.

    Raises   ValueError for too short a clip (see `power_spectrum`)
    """
    spectrum = power_spectrum(samples, sample_rate_hz)
    tones = [prominence_of(spectrum, frequency) for frequency in _candidates(spectrum, sample_rate_hz)]
    return tuple(sorted(tones, key=lambda tone: -tone.margin_db))


def _candidates(spectrum: PowerSpectrum, sample_rate_hz: float) -> list[float]:
    power: NDArray[np.float64] = spectrum.mean_square
    found = []
    for line in np.flatnonzero((power[1:-1] > power[:-2]) & (power[1:-1] >= power[2:])) + 1:
        frequency = float(spectrum.frequency_hz[line])
        if not LOWEST_TONE_HZ <= frequency <= HIGHEST_TONE_HZ:
            continue
        low, high = critical_band_hz(frequency)
        if neighbour_edges_hz(frequency)[1] > sample_rate_hz / 2:
            break
        first, last = spectrum.frequency_hz.searchsorted(low), spectrum.frequency_hz.searchsorted(high, side="right")
        band = power[first:last]
        if power[line] >= band.max() and power[line] > _PEAK_OVER_SURROUNDINGS * np.median(band):
            found.append(frequency)
    return found
