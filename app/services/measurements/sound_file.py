"""Reads a WAV or FLAC file into samples, and writes samples for playing. Other formats are rejected."""

from dataclasses import dataclass
from io import BytesIO

import numpy as np
from numpy.typing import NDArray

from app.errors import InvalidValue

FORMATS = ("WAV", "WAVEX", "RF64", "FLAC")
LONGEST_S = 180.0
_MOST_CHANNELS = 8
_RATES_HZ = (8_000, 192_000)


@dataclass(frozen=True, slots=True)
class SoundFile:
    """One channel of a file, from -1 to 1."""

    samples: NDArray[np.float64]
    sample_rate_hz: float
    channels: int


def read_sound(content: bytes, file_name: str, *, channel: int = 1, field: str = "clip") -> SoundFile:
    """One channel of a WAV or FLAC file.

    Parameters
        content, file_name : the file, and its name for messages
        channel : which channel, counted from 1
        field : form field of the error
    Raises   InvalidValue for another kind of file, one that is too long or damaged, or a missing channel
    """
    import soundfile  # loaded when used: only sound pages need it

    try:
        info = soundfile.info(BytesIO(content))
    except soundfile.LibsndfileError:
        raise InvalidValue(
            f"{file_name} cannot be read as audio. Choose a WAV or FLAC file.",
            field=field,
        ) from None
    if info.format not in FORMATS:
        raise InvalidValue(
            f"{file_name} is a {info.format} file; use WAV or FLAC, because other formats discard part of the sound. "
            "Convert the original recording.",
            field=field,
        )
    low, high = _RATES_HZ
    if not low <= info.samplerate <= high:
        raise InvalidValue(
            f"{file_name} has {info.samplerate} samples per second; {low} to {high} are allowed. Record it again.",
            field=field,
        )
    seconds = info.frames / info.samplerate
    if seconds > LONGEST_S or info.channels > _MOST_CHANNELS:
        raise InvalidValue(
            f"{file_name} lasts {seconds:.0f} s with {info.channels} channels; at most {LONGEST_S:.0f} s and "
            f"{_MOST_CHANNELS} channels are allowed. Cut out a steady part.",
            field=field,
        )
    if not 1 <= channel <= info.channels:
        raise InvalidValue(
            f"{file_name} has {info.channels} channels; there is no channel {channel}. Choose an existing one.",
            field=field,
        )
    try:
        samples, rate = soundfile.read(BytesIO(content), dtype="float64", always_2d=True)
    except soundfile.LibsndfileError as error:
        raise InvalidValue(f"{file_name} is damaged: {error.error_string}. Copy it again.", field=field) from None
    chosen = np.ascontiguousarray(samples[:, channel - 1])
    if chosen.size < info.frames or not bool(np.all(np.isfinite(chosen))):
        raise InvalidValue(
            f"{file_name} ends after {chosen.size} of {info.frames} samples, or contains values that are not numbers. "
            "Copy it again.",
            field=field,
        )
    return SoundFile(chosen, float(rate), info.channels)


def wav_bytes(samples: NDArray[np.float64], sample_rate_hz: float) -> bytes:
    """A 24-bit mono WAV file; values beyond full scale are clipped."""
    import soundfile  # loaded when used

    written = BytesIO()
    soundfile.write(written, np.clip(samples, -1.0, 1.0), round(sample_rate_hz), format="WAV", subtype="PCM_24")
    return written.getvalue()
