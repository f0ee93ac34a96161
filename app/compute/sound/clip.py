"""Analysis of a recorded clip: levels, spectrum, tones and character."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from app.compute.sound.calibration import REFERENCE_PA, Calibration, overloaded_samples
from app.compute.sound.character import character_text, find_hum, knocks_per_s
from app.compute.sound.frequency_weighting import weighted, weighting_db
from app.compute.sound.prominent_tones import METHOD as TONE_METHOD
from app.compute.sound.prominent_tones import Tone, find_tones
from app.compute.sound.third_octaves import third_octaves
from app.compute.wording.notes import Note

FAST_S = 0.125
_SETTLING_S = 5 * FAST_S
_SILENCE = 1e-30


@dataclass(frozen=True, slots=True)
class BandLevel:
    """Level of a third octave without weighting and with A [dB]."""

    nominal_hz: float
    level_db: float
    level_dba: float


@dataclass(frozen=True, slots=True)
class SoundClip:
    """Results of a clip. Levels are dB(A) re 20 µPa when calibrated, otherwise dB re full scale and not comparable.

    equivalent_level_dba : LAeq over the whole clip
    fast_maximum_dba : LAFmax, A-weighted, time constant 125 ms
    l10_dba, l90_dba : exceeded for 10 % and 90 % of the time, from the fast level
    tones : found by `tone_method`, most prominent first
    peak : largest sample value, 1 is full scale
    """

    calibrated: bool
    duration_s: float
    sample_rate_hz: float
    equivalent_level_dba: float
    fast_maximum_dba: float
    l10_dba: float
    l90_dba: float
    bands: tuple[BandLevel, ...]
    tones: tuple[Tone, ...]
    tone_method: str
    character: tuple[str, ...]
    peak: float
    notes: tuple[Note, ...]


def analyse_clip(samples: ArrayLike, sample_rate_hz: float, calibration: Calibration | None) -> SoundClip:
    """Analyse one channel of a clip.

    Parameters
        samples : sample values from -1 to 1
        sample_rate_hz : 8,000 Hz or more
        calibration : None leaves the levels relative to full scale
    Returns  levels, third-octave spectrum, tones, sentences and cautions
    Raises   ValueError for a clip under 3 s, a low sampling rate or values that are not numbers
    Source   LAeq, time weighting F and percentile levels as in IEC 61672-1 and ISO 1996-1, definitions from memory
    """
    values = np.asarray(samples, dtype=float)
    if values.ndim != 1 or not bool(np.all(np.isfinite(values))):
        raise ValueError(
            f"The clip has the shape {values.shape} and must be one channel of numbers. Choose one channel."
        )
    scale = calibration.pascal_per_unit / REFERENCE_PA if calibration else 1.0
    bands = tuple(
        BandLevel(
            band.nominal_hz,
            _decibels(band.mean_square * scale**2),
            _decibels(band.mean_square * scale**2) + float(weighting_db(band.middle_hz, "A")),
        )
        for band in third_octaves(values, sample_rate_hz)
    )
    a_squared = weighted(values, sample_rate_hz, "A") ** 2 * scale**2
    fast = fast_level_db(a_squared, sample_rate_hz)
    settled = fast[round(_SETTLING_S * sample_rate_hz) :]
    l10, l90 = (float(np.percentile(settled, share)) for share in (90, 10))
    hum, knocks = find_hum(values, sample_rate_hz), knocks_per_s(values, sample_rate_hz)
    return SoundClip(
        calibrated=calibration is not None,
        duration_s=values.size / sample_rate_hz,
        sample_rate_hz=sample_rate_hz,
        equivalent_level_dba=_decibels(float(np.mean(a_squared))),
        fast_maximum_dba=float(fast.max()),
        l10_dba=l10,
        l90_dba=l90,
        bands=bands,
        tones=find_tones(values, sample_rate_hz),
        tone_method=TONE_METHOD,
        character=character_text(hum, knocks, l10, l90),
        peak=float(np.abs(values).max()),
        notes=_notes(values, calibration),
    )


def fast_level_db(squared: NDArray[np.float64], sample_rate_hz: float) -> NDArray[np.float64]:
    r"""Level over time with the time weighting F, an exponential mean of the square with τ = 125 ms [dB].

    .. math:: \bar p^2(t) = \frac{1}{\tau}\int_{-\infty}^{t} p^2(s)\, e^{-(t-s)/\tau}\, ds
    """
    from scipy.signal import lfilter  # loaded when used

    kept = math.exp(-1 / (FAST_S * sample_rate_hz))
    mean: NDArray[np.float64] = lfilter([1 - kept], [1.0, -kept], squared)
    level: NDArray[np.float64] = 10 * np.log10(np.maximum(mean, _SILENCE))
    return level


def _decibels(mean_square: float) -> float:
    return 10 * math.log10(max(mean_square, _SILENCE))


def _notes(values: NDArray[np.float64], calibration: Calibration | None) -> tuple[Note, ...]:
    notes = []
    overloaded = overloaded_samples(values)
    if overloaded:
        notes.append(
            Note(
                "clip_overloaded",
                "unusable",
                f"{overloaded} samples are at full scale, so the recording is clipped and the levels are too low. "
                "Record again with less gain.",
                float(overloaded),
                0.0,
            )
        )
    if calibration is None:
        notes.append(
            Note(
                "clip_not_calibrated",
                "care",
                "No calibration: the levels are relative to full scale and cannot be compared with another clip. "
                "Give a calibration tone, or the level read beside the microphone.",
            )
        )
    return tuple(notes)
