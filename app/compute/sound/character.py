"""Sentences on hum, rattle and steadiness of a sound, with their numbers.

The limits are our own choice (common practice, no source): they only select the sentence.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from app.compute.sound.spectrum import PowerSpectrum, power_spectrum
from app.compute.sound.third_octaves import mean_square_between

HUM_STANDS_OUT_DB = 10.0
KNOCK_STANDS_OUT_DB = 10.0
STEADY_WITHIN_DB = 2.0
_HARMONICS = range(1, 9)
_KNOCK_BLOCK_S = 0.010


@dataclass(frozen=True, slots=True)
class Hum:
    """Multiples of the mains frequency in the spectrum.

    mains_hz : 50 or 60
    strongest_hz, stands_out_db : the multiple with the largest margin over the lines around it, and the margin
    """

    mains_hz: float
    strongest_hz: float
    stands_out_db: float

    @property
    def heard(self) -> bool:
        return self.stands_out_db >= HUM_STANDS_OUT_DB


def find_hum(samples: ArrayLike, sample_rate_hz: float) -> Hum:
    """The multiple of 50 or 60 Hz with the largest margin over its surroundings.

    Each multiple up to the eighth: power within 1.5 Hz against the mean power of the lines from 3 to 12 Hz away.

    Raises   ValueError for too short a clip (see `power_spectrum`)
    """
    spectrum = power_spectrum(samples, sample_rate_hz)
    candidates = [
        Hum(mains, mains * n, _stands_out_db(spectrum, mains * n)) for mains in (50.0, 60.0) for n in _HARMONICS
    ]
    return max(candidates, key=lambda hum: hum.stands_out_db)


def knocks_per_s(samples: ArrayLike, sample_rate_hz: float) -> float:
    """Short rises of 10 dB over the clip's median above 1 kHz, counted in blocks of 10 ms; adjacent rises count as one.

    >>> import numpy as np
    >>> steady = np.random.default_rng(3).standard_normal(48000 * 4)
    >>> knocks_per_s(steady, 48000)
    0.0
    """
    from scipy.signal import butter, sosfilt  # loaded when used

    values = np.asarray(samples, dtype=float)
    block = max(1, round(_KNOCK_BLOCK_S * sample_rate_hz))
    blocks = values.size // block
    if blocks == 0:
        return 0.0
    high = sosfilt(butter(4, 1000, "highpass", fs=sample_rate_hz, output="sos"), values)
    power = np.mean(high[: blocks * block].reshape(blocks, block) ** 2, axis=1)
    above = power > np.median(power) * 10 ** (KNOCK_STANDS_OUT_DB / 10)
    rises = int(np.count_nonzero(above[1:] & ~above[:-1])) + int(above[0])
    return float(rises * sample_rate_hz / values.size)


def character_text(hum: Hum, knocks: float, l10_db: float, l90_db: float) -> tuple[str, ...]:
    """Sentences on hum, rattle and steadiness.

    >>> character_text(Hum(60.0, 120.0, 3.0), 0.0, 40.3, 39.8)[0]
    'No hum: no multiple of 50 or 60 Hz is 10 dB above the adjacent lines.'
    """
    sentences = []
    if hum.heard:
        sentences.append(
            f"A hum at {hum.strongest_hz:.0f} Hz, a multiple of the {hum.mains_hz:.0f} Hz mains, is "
            f"{hum.stands_out_db:.0f} dB above the adjacent lines."
        )
    else:
        sentences.append(f"No hum: no multiple of 50 or 60 Hz is {HUM_STANDS_OUT_DB:.0f} dB above the adjacent lines.")
    if knocks > 0:
        sentences.append(
            f"Knocks or rattle: {knocks:.1f} per second are {KNOCK_STANDS_OUT_DB:.0f} dB above the rest of the clip "
            "above 1 kHz."
        )
    else:
        sentences.append(f"No rattle: nothing above 1 kHz rises by {KNOCK_STANDS_OUT_DB:.0f} dB.")
    spread = l10_db - l90_db
    words = "Steady" if spread <= STEADY_WITHIN_DB else "Unsteady"
    sentences.append(f"{words}: the level stays within {spread:.1f} dB for four fifths of the time (L10 to L90).")
    return tuple(sentences)


def _stands_out_db(spectrum: PowerSpectrum, frequency_hz: float) -> float:
    tone = mean_square_between(spectrum, frequency_hz - 1.5, frequency_hz + 1.5) / 3.0
    below = mean_square_between(spectrum, frequency_hz - 12, frequency_hz - 3) / 9.0
    above = mean_square_between(spectrum, frequency_hz + 3, frequency_hz + 12) / 9.0
    around = (below + above) / 2
    if not tone > 0:
        return float("-inf")
    return float(10 * np.log10(tone / around)) if around > 0 else float("inf")
