"""Time zones for a select."""

from functools import lru_cache
from zoneinfo import available_timezones


@lru_cache
def zone_names() -> tuple[str, ...]:
    """UTC and the zones named after a place, in alphabetical order."""
    places = sorted(name for name in available_timezones() if "/" in name and not name.startswith(("Etc/", "posix/")))
    return ("UTC", *places)
