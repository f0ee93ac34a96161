"""What is entered of a check of loggers."""

from dataclasses import dataclass
from datetime import date

from app.services.store.checked_values import LONGEST_NAME
from app.services.store.entry_fields import choice, day, number, text

COLLOCATION, ZERO, WARM_UP = "collocation", "zero", "warm-up"
KINDS_OF_CHECK = (COLLOCATION, ZERO, WARM_UP)
_LARGEST_OFFSET_S = 200_000.0  # more than two days


@dataclass(frozen=True, slots=True, kw_only=True)
class NewLoggerCheck:
    """One check of one or more loggers.

    checked_on : None: the day of the log, where its clock is known
    """

    kind: str = choice(
        "Type of check",
        KINDS_OF_CHECK,
        default=COLLOCATION,
        what="The type of check",
        choice_words={
            COLLOCATION: "collocation: beside a reference logger",
            ZERO: "zero: in clean air",
            WARM_UP: "warm-up: just switched on, beside a warm reference logger",
        },
    )
    channel: str = text("Channel", "Leave empty for the main channel of the bench.", longest=50)
    checked_on: date | None = day("Date of the check", "The check", words="if not that of the log")
    clean_from_min: float | None = number(
        "Clean air from", "min", "Minutes after the first reading. Leave both empty if there was none.", zero=True
    )
    clean_to_min: float | None = number("Clean air until", "min", zero=True)
    expected_offset_s: float = number(
        "Approximate clock offset",
        "s",
        "Clock of the logger minus clock of the reference, if it is more than 15 min.",
        default=0.0,
        least=-_LARGEST_OFFSET_S,
        most=_LARGEST_OFFSET_S,
    )
    checked_by: str = text("Checked by", what="The name", longest=LONGEST_NAME, private=True)
    notes: str = text("Notes", lines=2)
