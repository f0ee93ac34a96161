"""The list of known channels, with their units and labels. It is open.

A channel is a name such as `pm2_5`. Known channels have a unit that every log is converted to. Any other
channel (`no2`, `dew_point`, `band_1khz`) keeps the unit of its file and its
name is the label. A second detector of the same quantity ends in `_b`, a third in `_c`.
"""

import math
import re
from collections.abc import Iterable
from dataclasses import dataclass

COUNT_UNIT = "1/cm³"
RAW_COUNTS = "counts"  # particles counted in an unknown sample volume: not a concentration, but it decays like one


@dataclass(frozen=True, slots=True)
class Channel:
    """One quantity of a log.

    name : as in results and outside scripts
    unit : unit that levels are converted to; "": the unit of the file
    label : what a reader is shown
    is_particle : whether its decay shows the removal of particles
    """

    name: str
    unit: str
    label: str
    is_particle: bool


_LISTED = {
    "pm1": ("µg/m³", "PM1", True),
    "pm2_5": ("µg/m³", "PM2.5", True),
    "pm4": ("µg/m³", "PM4", True),
    "pm10": ("µg/m³", "PM10", True),
    "pm_total": ("µg/m³", "Total particle mass", True),
    "pm_respirable": ("µg/m³", "Respirable particle mass", True),
    "count_total": (COUNT_UNIT, "Particle number", True),
    "ldsa": ("µm²/cm³", "Lung-deposited surface area", True),
    "voc": ("ppm", "Volatile organic compounds", False),
    "eco2": ("ppm", "Carbon dioxide, estimated from a gas sensor", False),
    "co2": ("ppm", "Carbon dioxide", False),
    "temperature": ("°C", "Temperature", False),
    "dew_point": ("°C", "Dew point", False),
    "relative_humidity": ("%", "Relative humidity", False),
    "pressure": ("hPa", "Air pressure", False),
    "power": ("W", "Power", False),
    "energy": ("kWh", "Energy", False),
    "voltage": ("V", "Voltage", False),
    "current": ("A", "Current", False),
    "sound_level": ("dB(A)", "Sound level", False),
}

CHANNELS = {name: Channel(name, *about) for name, about in _LISTED.items()}

_DETECTOR_WORDS = {"b": "second detector", "c": "third detector", "d": "fourth detector"}
_BAND = re.compile(r"band_(\d+(?:_\d+)?)(k?hz)")
_OTHER_WEIGHTING = re.compile(r"l[cz][a-z0-9]*")
_COUNT_SIZE = re.compile(r"count_(\d+(?:_\d+)?)(?:_to_(\d+(?:_\d+)?))?(um|nm)")


def channel(name: str) -> Channel:
    """The channel of that name, known or not.

    >>> channel("pm2_5_b").label, channel("count_0_3um").unit, channel("no2").label
    ('PM2.5, second detector', '1/cm³', 'no2')
    >>> channel("count_0_3_to_0_5um").label
    'Particle number, 0.3 to 0.5 µm'
    """
    if name in CHANNELS:
        return CHANNELS[name]
    base, detector = split_detector(name)
    if detector:
        first = channel(base)
        return Channel(name, first.unit, f"{first.label}, {_DETECTOR_WORDS[detector]}", first.is_particle)
    band = _BAND.fullmatch(name)
    if band:
        return Channel(name, "dB", f"Sound level, {band[1].replace('_', '.')} {band[2].replace('hz', 'Hz')}", False)
    if _OTHER_WEIGHTING.fullmatch(name):
        return Channel(name, "dB", f"Sound level, {name.upper()}", False)
    if name.startswith("count_"):
        size = _COUNT_SIZE.fullmatch(name)
        words = name[6:].replace("_", " ")
        if size:
            sizes = " to ".join(each.replace("_", ".") for each in size.groups()[:2] if each)
            words = f"{sizes} {size[3].replace('um', 'µm')}"
        return Channel(name, COUNT_UNIT, f"Particle number, {words}", True)
    return Channel(name, "", name.replace("_", " "), False)


@dataclass(frozen=True, slots=True)
class ParticleSize:
    """Size of the particles that a number channel counts [µm]: from `low_um` up, or to `high_um` in a bin."""

    low_um: float
    high_um: float | None

    @property
    def typical_um(self) -> float:
        """Geometric mean of a bin; the lower limit where it is open, because most particles are near it."""
        return self.low_um if self.high_um is None else math.sqrt(self.low_um * self.high_um)


def particle_size(name: str) -> ParticleSize | None:
    """The size of a number channel; None for any other.

    >>> particle_size("count_0_3um"), particle_size("count_300_to_500nm"), particle_size("count_total")
    (ParticleSize(low_um=0.3, high_um=None), ParticleSize(low_um=0.3, high_um=0.5), None)
    """
    found = _COUNT_SIZE.fullmatch(split_detector(name)[0])
    if found is None:
        return None
    scale = 1.0 if found[3] == "um" else 1000.0
    low, high = (None if each is None else float(each.replace("_", ".")) / scale for each in found.groups()[:2])
    return None if low is None else ParticleSize(low, high)


def is_particle_channel(name: str) -> bool:
    """Whether the channel measures particles.

    >>> is_particle_channel("count_0_3um_b"), is_particle_channel("voc")
    (True, False)
    """
    return channel(name).is_particle


def has_known_form(name: str) -> bool:
    """Whether the name is known, by itself or by its pattern.

    >>> has_known_form("pm10"), has_known_form("count_0_3um"), has_known_form("band_1khz"), has_known_form("zzz")
    (True, True, True, False)
    """
    patterns = (_BAND, _OTHER_WEIGHTING, _COUNT_SIZE)
    return name in CHANNELS or any(pattern.fullmatch(name) for pattern in patterns)


def split_detector(name: str) -> tuple[str, str]:
    """The channel without its detector suffix, and the suffix: "" for the first detector.

    >>> split_detector("pm10_b"), split_detector("pm10")
    (('pm10', 'b'), ('pm10', ''))
    """
    base, _, last = name.rpartition("_")
    return (base, last) if base and last in _DETECTOR_WORDS else (name, "")


def channel_name(text: str) -> str:
    """A channel name from what a person wrote: lower case, words joined by underscores; "" if nothing is left.

    >>> channel_name("PM2.5"), channel_name("Dew point"), channel_name("NO₂")
    ('pm2_5', 'dew_point', 'no2')
    """
    plain = text.strip().lower().translate(str.maketrans("₀₁₂₃₄₅₆₇₈₉µμ", "0123456789uu"))
    return re.sub(r"[^a-z0-9]+", "_", plain).strip("_")[:60]


_SHOWN_FIRST = ("pm2_5", "pm1", "pm10", "pm4")


def is_indicative(name: str) -> bool:
    """Whether a channel only indicates, as small VOC sensors do: they respond to many gases and drift.

    >>> is_indicative("voc"), is_indicative("pm2_5")
    (True, False)
    """
    return name.startswith("voc")


def in_order(channels: Iterable[str]) -> list[str]:
    """The display order of channels: particle mass first, then the rest by name, and sizes of particles by size.

    >>> in_order(["voc", "pm10", "count_total", "pm2_5", "count_115_5nm", "count_0_3um", "count_11_5nm"])
    ['pm2_5', 'pm10', 'count_total', 'count_11_5nm', 'count_115_5nm', 'count_0_3um', 'voc']
    """
    first = {name: place for place, name in enumerate(_SHOWN_FIRST)}
    return sorted(channels, key=lambda name: (first.get(name, len(first)), name.split("_")[0], _size_in(name), name))


def _size_in(name: str) -> float:
    """The first number in a name [µm]; below all sizes if there is none."""
    found = re.search(r"(\d+(?:[._]\d+)?)(nm)?", name)
    return -1.0 if found is None else float(found[1].replace("_", ".")) * (0.001 if found[2] else 1.0)
