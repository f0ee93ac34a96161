"""The log of a logger that counts particles in bins of size, in an empty room where the larger ones settle faster."""

from datetime import timedelta

import numpy as np

from tests.conftest import NOW

# Header, channel, and the diameter of its particles [µm].
BINS = (
    ("0.3-0.5 µm [#/L]", "count_0_3_to_0_5um", 0.39),
    ("0.5 - 1.0 µm [#/L]", "count_0_5_to_1um", 0.71),
    ("1-2.5 µm [#/L]", "count_1_to_2_5um", 1.6),
    ("2.5–10 µm [#/L]", "count_2_5_to_10um", 5.0),
    (">10 µm [#/L]", "count_10um", 10.0),
)
HEIGHT_M = 2.5


def settling_per_h(diameter_um: float) -> float:
    """Loss rate of stirred settling, v/H, of water-like spheres. v = ρ d² g / (18 η): Stokes' law for air at 20 °C
    (Hinds, Aerosol Technology: 0.0035 cm/s at 1 µm and 0.31 cm/s at 10 µm, with slip; from memory)."""
    velocity_m_per_s = 1000 * (diameter_um * 1e-6) ** 2 * 9.81 / (18 * 1.81e-5)
    return 3600 * velocity_m_per_s / HEIGHT_M


RATES = {channel: 0.3 + settling_per_h(diameter) for _, channel, diameter in BINS}


def log_of_bins() -> bytes:
    """An empty-room run of an hour, with ten minutes before the smoke."""
    rng = np.random.default_rng(11)
    time_s = np.arange(-600.0, 3600.0, 10.0)
    columns = []
    for _, channel, _ in BINS:
        level = 20 + 20_000 * np.exp(-RATES[channel] * np.maximum(time_s, 0) / 3600) * (time_s >= 0)
        columns.append(level * (1 + 0.02 * rng.standard_normal(time_s.size)))
    lines = [",".join(["time", *(header for header, _, _ in BINS)])]
    for place, second in enumerate(time_s):
        cells = [f"{column[place]:.0f}" for column in columns]
        lines.append(",".join([(NOW + timedelta(seconds=600 + float(second))).isoformat(), *cells]))
    return "\n".join(lines).encode()
