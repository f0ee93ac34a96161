"""Synthetic recordings of a few invented units: shaped noise for the fan, hum, blade tone, knocks."""

import wave
from dataclasses import dataclass
from io import BytesIO

import numpy as np
from numpy.typing import NDArray

from seed_demo.scenario import SEED

SAMPLE_RATE_HZ = 32_000
SECONDS = 4.0


@dataclass(frozen=True, slots=True)
class FanSound:
    """Sound of one unit at one speed; component levels are relative to the fan noise.

    corner_hz : above it the noise of the fan falls by 6 dB an octave
    hum_hz, hum_db : multiple of the mains frequency [Hz], its level over the noise [dB]
    blades_hz, blades_db : tone of the blades, the same
    knocks_per_s : a loose part
    """

    model: str
    speed: str
    corner_hz: float
    hum_hz: float = 0.0
    hum_db: float = -20.0
    blades_hz: float = 0.0
    blades_db: float = -20.0
    knocks_per_s: float = 0.0
    notes: str = ""


FAN_SOUNDS = (
    FanSound("Pipit", "high", 900.0, blades_hz=410.0, blades_db=4.0, notes="The blades sing."),
    FanSound("Ledger Mini", "full", 700.0),
    FanSound("Bustard", "quiet", 350.0),
    FanSound("Rattler", "high", 1200.0, hum_hz=120.0, hum_db=4.0, knocks_per_s=3.0, notes="The rattle comes and goes."),
    FanSound("Eight small fans", "high", 500.0, blades_hz=265.0, blades_db=-12.0),
    FanSound("Box fan with four filters", "3", 600.0, hum_hz=120.0, hum_db=-4.0),
)


def fan_sound(sound: FanSound) -> bytes:
    """A WAV file, 16 bits, one channel; the same sound gives the same bytes."""
    rng = np.random.default_rng([SEED, 5000 + FAN_SOUNDS.index(sound)])
    count = round(SECONDS * SAMPLE_RATE_HZ)
    seconds = np.arange(count) / SAMPLE_RATE_HZ
    signal = _fan_noise(count, sound.corner_hz, rng)
    for frequency, level_db in ((sound.hum_hz, sound.hum_db), (sound.blades_hz, sound.blades_db)):
        if frequency:
            signal = signal + 2**0.5 * 10 ** (level_db / 20) * np.sin(2 * np.pi * frequency * seconds)
    if sound.knocks_per_s:
        signal = signal + _knocks(count, sound.knocks_per_s, rng)
    samples = np.round(signal / np.abs(signal).max() * 0.5 * 32767).astype("<i2")
    written = BytesIO()
    with wave.open(written, "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(SAMPLE_RATE_HZ)
        file.writeframes(samples.tobytes())
    return written.getvalue()


def _fan_noise(count: int, corner_hz: float, rng: np.random.Generator) -> NDArray[np.float64]:
    """Noise of unit power, level up to the corner and falling by 6 dB an octave above it, nothing below 40 Hz."""
    spectrum = np.fft.rfft(rng.standard_normal(count))
    frequencies = np.fft.rfftfreq(count, 1 / SAMPLE_RATE_HZ)
    shaped = np.fft.irfft(np.where(frequencies < 40.0, 0.0, spectrum / np.hypot(1.0, frequencies / corner_hz)), count)
    return np.asarray(shaped / shaped.std())


def _knocks(count: int, knocks_per_s: float, rng: np.random.Generator) -> NDArray[np.float64]:
    """Short bursts of noise that decay within some milliseconds, at irregular intervals."""
    signal = np.zeros(count)
    length = round(0.03 * SAMPLE_RATE_HZ)
    fading = np.exp(-np.arange(length) / (0.005 * SAMPLE_RATE_HZ))
    for start in rng.integers(0, count - length, round(knocks_per_s * SECONDS)):
        signal[start : start + length] += 12.0 * fading * rng.standard_normal(length)
    return signal
