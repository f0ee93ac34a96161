"""Decay rates of one trial by the size of the particles, where its logger counts in sizes."""

from collections.abc import Sequence
from dataclasses import dataclass

from app.compute.statistics.measured import Measured
from app.compute.wording.numbers import measured_text
from app.reading_files.headers.channels import ParticleSize, particle_size
from app.services.trials.detail import ChannelDetail

LEAST_SIZES = 2


@dataclass(frozen=True, slots=True)
class RateOfSize:
    """Total decay rate of one number channel [1/h]."""

    channel: str
    size: ParticleSize
    total_decay: Measured


def rates_by_size(channels: Sequence[ChannelDetail]) -> tuple[RateOfSize, ...]:
    """Usable rates by rising size; empty unless there are two sizes. Second detectors are left out."""
    found = [
        RateOfSize(each.channel, size, each.total_decay)
        for each in channels
        if each.total_decay is not None
        and each.verdict.status != "unusable"
        and each.channel.startswith("count_")
        and each.channel.endswith(("um", "nm"))
        and (size := particle_size(each.channel)) is not None
    ]
    found.sort(key=lambda one: (one.size.typical_um, one.channel))
    return tuple(found) if len({one.size.typical_um for one in found}) >= LEAST_SIZES else ()


def rates_words(rates: Sequence[RateOfSize]) -> str:
    """Lowest and highest rate with their sizes, and whether their intervals meet."""
    low = min(rates, key=lambda one: one.total_decay.value)
    high = max(rates, key=lambda one: one.total_decay.value)
    parted = low.total_decay.high_95 < high.total_decay.low_95
    words = "do not overlap" if parted else "overlap, so the sizes may decay alike"
    return (
        f"Total decay by particle size: from {_rate(low.total_decay)} per hour {size_words(low.size)} to "
        f"{_rate(high.total_decay)} per hour {size_words(high.size)}. The 95 % intervals of these two {words}."
    )


def size_words(size: ParticleSize) -> str:
    """A size as text.

    >>> size_words(ParticleSize(0.3, 0.5)), size_words(ParticleSize(1.0, None))
    ('at 0.3 to 0.5 µm', 'above 1 µm')
    """
    return f"above {size.low_um:g} µm" if size.high_um is None else f"at {size.low_um:g} to {size.high_um:g} µm"


def _rate(rate: Measured) -> str:
    return measured_text(rate.value, rate.uncertainty, rate.low_95, rate.high_95).with_interval
