"""Pascals per sample value of a recording: from a calibrator's tone or from a level read on a meter."""

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from app.compute.sound.frequency_weighting import weighted
from app.compute.sound.spectrum import power_spectrum
from app.compute.sound.third_octaves import mean_square_between

REFERENCE_PA = 20e-6
FULL_SCALE = 0.999
_TONE_SHARE = 0.9  # of the power has to lie in the tone; our choice
_TONE_HALF_WIDTH_HZ = 20.0

CalibrationKind = Literal["tone", "known level"]


@dataclass(frozen=True, slots=True)
class Calibration:
    """Pascals for a sample value of one, and the source of the calibration.

    level_db : the reference level [dB, or dB(A) for a known level]
    tone_hz : frequency found, for a tone
    """

    pascal_per_unit: float
    kind: CalibrationKind
    level_db: float
    tone_hz: float | None = None


def calibration_from_tone(samples: ArrayLike, sample_rate_hz: float, level_db: float) -> Calibration:
    r"""Calibration from a recording of a calibrator's steady tone.

    .. math:: c = \frac{20\,\mathrm{µPa} \cdot 10^{L/20}}{\sqrt{\overline{x^2}}}

    Parameters
        samples : recording of the tone, made with the same gain as the clip, -1 to 1
        level_db : level of the calibrator, often 94 or 114 dB
    Returns  c, with the mean square of the tone only, so that room noise does not count
    Raises   ValueError for an overloaded recording, or one where the tone holds less than 90 % of the power

    >>> import numpy as np
    >>> tone = 0.1 * np.sin(2 * np.pi * 1000 * np.arange(4 * 48000) / 48000)
    >>> calibration = calibration_from_tone(tone, 48000, 94.0)
    >>> round(calibration.pascal_per_unit, 2), calibration.tone_hz
    (14.18, 1000.0)
    """
    values = np.asarray(samples, dtype=float)
    _refuse_overload(values, "calibration tone")
    spectrum = power_spectrum(values, sample_rate_hz)
    audible = np.where(spectrum.frequency_hz >= 20.0, spectrum.mean_square, 0.0)
    tone_hz = float(spectrum.frequency_hz[int(np.argmax(audible))])
    of_tone = mean_square_between(spectrum, tone_hz - _TONE_HALF_WIDTH_HZ, tone_hz + _TONE_HALF_WIDTH_HZ)
    share = of_tone / float(audible.sum()) if audible.sum() > 0 else 0.0
    if share < _TONE_SHARE:
        raise ValueError(
            f"The strongest tone, at {tone_hz:.0f} Hz, holds {100 * share:.0f} % of the power of the calibration "
            f"recording; {100 * _TONE_SHARE:.0f} % or more is needed. Record the calibrator alone, seated on the "
            "microphone."
        )
    return Calibration(REFERENCE_PA * 10 ** (level_db / 20) / math.sqrt(of_tone), "tone", level_db, tone_hz)


def calibration_from_known_level(samples: ArrayLike, sample_rate_hz: float, level_dba: float) -> Calibration:
    """Calibration from the A-weighted equivalent level that a sound level meter read beside the microphone during
    the clip.

    Raises   ValueError for an overloaded or a silent clip
    """
    values = np.asarray(samples, dtype=float)
    _refuse_overload(values, "clip")
    mean_square = float(np.mean(weighted(values, sample_rate_hz, "A") ** 2))
    if not mean_square > 0:
        raise ValueError("The clip is silent, so it has no level. Check the recorder's input.")
    return Calibration(REFERENCE_PA * 10 ** (level_dba / 20) / math.sqrt(mean_square), "known level", level_dba)


def overloaded_samples(samples: ArrayLike) -> int:
    """Samples at full scale, where the recorder clipped."""
    return int(np.count_nonzero(np.abs(np.asarray(samples, dtype=float)) >= FULL_SCALE))


def _refuse_overload(values: np.ndarray[tuple[int, ...], np.dtype[np.float64]], what: str) -> None:
    overloaded = overloaded_samples(values)
    if overloaded:
        raise ValueError(
            f"{overloaded} samples of the {what} are at full scale, so the recording is clipped; a calibration must "
            "have none. Record again with less gain."
        )
