"""Display order of channels."""

from collections.abc import Iterable

_FIRST = ("pm2_5", "pm1", "pm10", "pm4")


def in_order(channels: Iterable[str]) -> list[str]:
    """Particle mass before everything else, then the rest by name.

    >>> in_order(["voc", "pm10", "count_total", "pm2_5"])
    ['pm2_5', 'pm10', 'count_total', 'voc']
    """
    return sorted(channels, key=lambda name: (_FIRST.index(name) if name in _FIRST else len(_FIRST), name))
