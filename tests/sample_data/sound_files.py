"""Sound files made for tests: noise and tones as WAV or FLAC bytes."""

from io import BytesIO

import numpy as np
import soundfile

RATE = 48_000


def noise(rms: float = 0.01, seconds: float = 4.0, seed: int = 1) -> np.ndarray:
    return rms * np.random.default_rng(seed).standard_normal(round(seconds * RATE))


def tone(frequency_hz: float = 1000.0, rms: float = 0.05, seconds: float = 4.0) -> np.ndarray:
    return rms * np.sqrt(2) * np.sin(2 * np.pi * frequency_hz * np.arange(round(seconds * RATE)) / RATE)


def sound_bytes(samples: np.ndarray, *, file_format: str = "WAV", rate: int = RATE, subtype: str = "PCM_24") -> bytes:
    written = BytesIO()
    soundfile.write(written, samples, rate, format=file_format, subtype=subtype)
    return written.getvalue()
