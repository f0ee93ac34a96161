"""Numbers that differ between two editions, each with its value before and after, and why."""

from collections.abc import Iterable
from dataclasses import asdict, dataclass, replace
from typing import Any

import orjson

from app.compute.wording.numbers import DASH, measured_text
from app.compute.wording.rounding import decimals_from_size, rounded_text
from app.services.publishing.numbers.published_number import Measured, PublishedNumber, json_rows
from app.services.publishing.numbers.reasons import Reasons

NEW, GONE, MOVED = "new", "no longer published", "moved"
_MOST_DECIMALS = 12


@dataclass(frozen=True, slots=True)
class MovedNumber:
    """One number that is new, gone or different. `before` and `after` are texts without the unit of measure; where
    they would round to the same text, they have as many digits as it takes to tell them apart.

    kind : "moved", "new" or "no longer published"
    measured_before, measured_after : the same as numbers; None where there is none
    """

    key: str
    kind: str
    unit_id: int | None
    trial_id: int | None
    item: str
    of: str
    quantity: str
    unit_of_measure: str
    before: str
    after: str
    why: str
    measured_before: Measured | None
    measured_after: Measured | None

    @property
    def words(self) -> str:
        return f"{self.item}{', ' if self.of else ''}{self.of}: {self.quantity}"

    @property
    def from_to(self) -> str:
        unit = f" {self.unit_of_measure}" if self.unit_of_measure else ""
        if self.kind == NEW:
            return f"{self.after}{unit} (new)"
        return f"{self.before}{unit}, {GONE}" if self.kind == GONE else f"{self.before} → {self.after}{unit}"


def moved_numbers(
    before: dict[str, PublishedNumber], after: dict[str, PublishedNumber], reasons: Reasons
) -> tuple[MovedNumber, ...]:
    """All numbers that differ, in the order of their keys; the same list for the same two editions."""
    found = []
    for key in sorted(before.keys() | after.keys()):
        old, new = before.get(key), after.get(key)
        if old is not None and new is not None and old.measured == new.measured:
            continue
        found.append(_moved(key, old, new, reasons))
    return tuple(found)


def _moved(key: str, old: PublishedNumber | None, new: PublishedNumber | None, reasons: Reasons) -> MovedNumber:
    named = new or old
    if named is None:
        raise ValueError(f"The number {key!r} is in neither edition.")
    texts = _told_apart(old, new)
    return MovedNumber(
        key=key,
        kind=NEW if old is None else GONE if new is None else MOVED,
        unit_id=named.unit_id,
        trial_id=named.trial_id,
        item=named.item,
        of=named.of,
        quantity=named.quantity,
        unit_of_measure=named.unit_of_measure,
        before=texts[0],
        after=texts[1],
        why=reasons.of(old, new),
        measured_before=None if old is None else old.measured,
        measured_after=None if new is None else new.measured,
    )


def _told_apart(old: PublishedNumber | None, new: PublishedNumber | None) -> tuple[str, str]:
    """Both numbers as readers see them, with more digits where that is needed to see a difference, or with the standard
    uncertainty where nothing else differs.
    """
    of_uncertainty = old is not None and new is not None and replace(old, uncertainty=None).measured == replace(
        new, uncertainty=None
    ).measured  # fmt: skip
    text = _with_uncertainty if of_uncertainty else number_text
    for further in range(_MOST_DECIMALS):
        texts = text(old, further), text(new, further)
        if texts[0] != texts[1]:
            return texts
    return texts


def number_text(number: PublishedNumber | None, further_decimals: int = 0) -> str:
    """A published number rounded to its uncertainty, with its interval and bound.

    >>> rate = PublishedNumber("k", 1, None, "A B", "high", "Rate", "m³/h", 162.12, 4.31, 153.4, 170.8)
    >>> number_text(rate), number_text(rate, 1), number_text(None)
    ('162 (153 to 171)', '162.1 (153.4 to 170.8)', '–')
    """
    if number is None or number.value is None:
        return DASH
    words = measured_text(number.value, number.uncertainty, number.low_95, number.high_95)
    decimals = len(words.value.partition(".")[2])
    if not decimals and number.uncertainty is None and number.low_95 is None:
        decimals = decimals_from_size(number.value)
    parts = [number.value, number.low_95, number.high_95]
    shown = [None if part is None else rounded_text(part, decimals + further_decimals) for part in parts]
    text = f"{number.bound} {shown[0]}" if number.bound else str(shown[0])
    return f"{text} ({shown[1]} to {shown[2]})" if shown[1] and shown[2] else text


def _with_uncertainty(number: PublishedNumber | None, further_decimals: int) -> str:
    """The text of a number with its standard uncertainty, to two digits and as many more."""
    if number is None or number.uncertainty is None:
        return f"{number_text(number)}, without ±"
    decimals = decimals_from_size(number.uncertainty, 2) + further_decimals
    return f"{number_text(number)}, ± {rounded_text(number.uncertainty, decimals)}"


def moved_file(moved: Iterable[MovedNumber]) -> bytes:
    return json_rows("moved", (asdict(one) for one in moved))


def moved_of_file(content: bytes) -> tuple[MovedNumber, ...]:
    rows: list[dict[str, Any]] = orjson.loads(content)["moved"]
    return tuple(MovedNumber(**{name: _tuple(value) for name, value in row.items()}) for row in rows)


def _tuple(value: Any) -> Any:
    return tuple(value) if isinstance(value, list) else value
