"""Time zones: the names to choose from, and the check of one that was entered."""

from functools import lru_cache
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError, available_timezones

from app.errors import InvalidValue


@lru_cache
def zone_names() -> tuple[str, ...]:
    """UTC and the zones named after a place, in alphabetical order."""
    places = sorted(name for name in available_timezones() if "/" in name and not name.startswith(("Etc/", "posix/")))
    return ("UTC", *places)


def time_zone(name: str, field: str, _what: str = "") -> str:
    try:
        return ZoneInfo(name.strip()).key
    except (ZoneInfoNotFoundError, ValueError, OSError):
        raise InvalidValue(
            f"The time zone is {name!r}; enter a name such as UTC or Europe/Berlin.", field=field
        ) from None
