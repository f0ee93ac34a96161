"""Validation of values given by a person or a script; each error names the field and what is needed."""

import math
from collections.abc import Sequence
from datetime import UTC, date, datetime, timedelta

from app.errors import InvalidValue
from app.hidden_marks import holds_control_characters, holds_hidden_marks

LONGEST_NAME = 200
LONGEST_TEXT = 20_000
LONGEST_KEY = 200
LARGEST_NUMBER = 1e12  # above any price, power or size; sums and squares of larger numbers would overflow
LARGEST_COUNT = 10_000  # pieces, packs, settings
# of a microphone; between them a level can be brought to another distance by 20 lg(r2 / r1)
NEAREST_M, FARTHEST_M = 0.01, 100.0


def required_text(value: str | None, field: str, what: str, longest: int = LONGEST_NAME) -> str:
    """The text without surrounding blanks; raises InvalidValue if it is empty or too long."""
    text = optional_text(value, field, what, longest)
    if not text:
        raise InvalidValue(f"{what} is empty. Enter at least one letter.", field=field)
    return text


def optional_text(value: str | None, field: str, what: str, longest: int = LONGEST_TEXT) -> str:
    # browsers send line ends as CR LF; an unchanged text of a form must be the text that is stored
    text = (value or "").strip().replace("\r\n", "\n").replace("\r", "\n")
    if len(text) > longest:
        raise InvalidValue(
            f"{what} has {len(text)} characters; at most {longest} are allowed. Shorten it.", field=field
        )
    if "\x00" in text:
        raise InvalidValue(f"{what} contains a NUL character. Enter it again.", field=field)
    if holds_control_characters(text):
        raise InvalidValue(f"{what} contains an invisible control character. Enter it again.", field=field)
    if holds_hidden_marks(text):
        raise InvalidValue(
            f"{what} contains a hidden character that changes the reading direction. Type it again instead of pasting "
            "it.",
            field=field,
        )
    return text


def idempotency_key(key: str) -> str:
    """A key that names a request, so that a repeat is recognised; "" for none."""
    return optional_text(key, "Idempotency-Key", "The idempotency key", LONGEST_KEY)


def number_above_zero(value: float | None, field: str, what: str, unit: str) -> float:
    checked = _finite(value, field, what, unit)
    if checked <= 0:
        raise InvalidValue(f"{what} is {checked:g} {unit}; it must be above zero. Correct it.", field=field)
    return checked


def number_not_below_zero(value: float | None, field: str, what: str, unit: str) -> float:
    checked = _finite(value, field, what, unit)
    if checked < 0:
        raise InvalidValue(f"{what} is {checked:g} {unit}; it must be zero or above. Correct it.", field=field)
    return checked


def whole_number_above_zero(value: int | None, field: str, what: str, most: float = LARGEST_COUNT) -> int:
    if value is None or value < 1:
        found = "missing" if value is None else f"{value}"
        raise InvalidValue(f"{what} is {found}; enter a whole number above zero.", field=field)
    if value > most:
        raise InvalidValue(f"{what} is {value:g}; enter at most {most:g}.", field=field)
    return value


def one_of(value: str, choices: Sequence[str], field: str, what: str) -> str:
    if value not in choices:
        raise InvalidValue(f"{what} is {value!r}; choose one of: {', '.join(choices)}.", field=field)
    return value


def currency_code(value: str, field: str = "currency", _what: str = "") -> str:
    code = (value or "").strip().upper()
    if len(code) != 3 or not code.isascii() or not code.isalpha():
        raise InvalidValue(f"The currency is {value!r}; enter three letters such as USD or EUR.", field="currency")
    return code


def source_text(value: str | None, field: str, what: str) -> str:
    """Where a value was seen; required, so that it can be looked up again."""
    source = optional_text(value, field, f"The source of {what[:1].lower()}{what[1:]}")
    if not source:
        raise InvalidValue(
            f"{what} has no source. Enter where it was seen, such as a shop, a list or a bill.",
            field=field,
        )
    return source


def latest_current_day() -> date:
    """The latest calendar date that has begun anywhere on Earth (UTC+14)."""
    return (datetime.now(UTC) + timedelta(hours=14)).date()


def day_seen(value: date | None, field: str, what: str) -> date:
    """The date of an observation or measurement, which cannot lie in the future."""
    day = day_valid_from(value, field, what)
    if day > (latest := latest_current_day()):
        raise InvalidValue(
            f"{what} is dated {day.isoformat()}, which is in the future; enter a date up to {latest.isoformat()}.",
            field=field,
        )
    return day


def day_valid_from(value: date | None, field: str, what: str) -> date:
    """A date that may lie in the future, such as that of a tariff announced for next year."""
    if value is None:
        raise InvalidValue(f"{what} has no date. Enter the date on which it was seen.", field=field)
    if not 1990 <= value.year <= 2100:
        raise InvalidValue(f"{what} is dated {value.isoformat()}; enter a year from 1990 to 2100.", field=field)
    return value


def _finite(value: float | None, field: str, what: str, unit: str) -> float:
    if value is None:
        raise InvalidValue(f"{what} is missing. Enter a number in {unit}.", field=field)
    if not math.isfinite(value):
        raise InvalidValue(f"{what} is {value}; enter a finite number in {unit}.", field=field)
    if abs(value) > LARGEST_NUMBER:
        raise InvalidValue(f"{what} is {value:g} {unit}; enter at most {LARGEST_NUMBER:g}.", field=field)
    return float(value)
