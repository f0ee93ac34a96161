"""What counts as cleared: a level, a share of the start level, or a level above the background."""

import math

from app.errors import InvalidValue
from app.services.store.checked_values import one_of

CLEAR_LEVEL_WORDS = {
    "absolute": "a level in µg/m³",
    "share_of_start": "a fraction of the level at unit on",
    "background": "µg/m³ above the background before the smoke",
}
CLEAR_LEVEL_KINDS = tuple(CLEAR_LEVEL_WORDS)
_SMALLEST = 1e-6  # far below what any counter can tell from zero


def check_clear_level(kind: str, value: float) -> None:
    """Raises InvalidValue for a clear level that no analysis can use."""
    one_of(kind, CLEAR_LEVEL_KINDS, "clear_level_kind", "The clear level type")
    if not math.isfinite(value) or value < 0 or (kind == "absolute" and value == 0):
        raise InvalidValue(
            f"The clear level is {value:g}; it must be a number above zero. Correct it.", field="clear_level_value"
        )
    if 0 < value < _SMALLEST:
        raise InvalidValue(
            f"The clear level is {value:g}; enter at least {_SMALLEST:f}. Correct it.", field="clear_level_value"
        )
    if kind == "share_of_start" and not 0 < value < 1:
        raise InvalidValue(
            f"The clear level is {value:g} of the start level; enter a fraction above 0 and below 1, such as 0.05.",
            field="clear_level_value",
        )
