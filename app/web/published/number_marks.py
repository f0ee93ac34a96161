"""What readers see beside a number that moved: its value before, since which edition, and why."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from app.services.publishing.numbers.moved import MOVED, MovedNumber


@dataclass(frozen=True, slots=True)
class NumberMark:
    """The latest move of one number. `page` is the page of its edition."""

    before: str
    why: str
    edition: int
    day: str
    page: str


@dataclass(frozen=True, slots=True)
class NumberMarks:
    """The latest move of every number that ever moved, by its place: (unit or trial, setting or channel, quantity)."""

    by_place: Mapping[tuple[str, str, str], NumberMark]

    def of_item(self, item: str) -> list[tuple[tuple[str, str, str], NumberMark]]:
        """All of a unit or trial, such as "unit 3"."""
        return sorted((place, mark) for place, mark in self.by_place.items() if place[0] == item)

    def of_setting(self, unit_id: int, setting: str, quantity: str) -> NumberMark | None:
        """Of a column of the ranking; a number of the whole unit where the setting has none of its own."""
        place = f"unit {unit_id}"
        return self.by_place.get((place, setting, quantity)) or self.by_place.get((place, "", quantity))

    def of_trial(self, trial_id: int, channel_label: str, quantity: str) -> NumberMark | None:
        return self.by_place.get((f"trial {trial_id}", channel_label, quantity))


# Columns of the ranking and rows of the fact sheet to the last word of a number's key.
_QUANTITY_OF_ROW = {
    "Clean air delivery rate": "clean_air_delivery_rate",
    "Time to 95 % reduction": "standard_clearing_time",
    "Time to clear": "time_to_clear",
    "Power": "power",
    "Running cost": "running_cost",
    "Price": "price",
    "Mass": "mass_kg",
}


def quantity_of_row(quantity: str, setting: str) -> str:
    """The quantity of a row of the fact sheet, by its words.

    >>> quantity_of_row("Sound at 1\u00a0m", "high"), quantity_of_row("Power", "standby"), quantity_of_row("Type", "")
    ('sound', 'standby_power', '')
    """
    words = quantity.replace("\u00a0", " ")
    if words.startswith("Sound at "):
        return "sound"
    if words.startswith("Cost over "):
        return "cost_over_years"
    return "standby_power" if (words, setting) == ("Power", "standby") else _QUANTITY_OF_ROW.get(words, "")


def number_marks(editions: Iterable[tuple[int, str, Iterable[MovedNumber]]]) -> NumberMarks:
    """Marks from what moved in each edition, newest edition first.

    editions : number, day and moves of each
    """
    found: dict[tuple[str, str, str], NumberMark] = {}
    for number, day, moved in editions:
        for one in moved:
            if one.kind != MOVED:
                continue
            item = f"unit {one.unit_id}" if one.trial_id is None else f"trial {one.trial_id}"
            place = item, one.of, one.key.rpartition("/")[2]
            mark = NumberMark(one.before, one.why, number, day, edition_page(number))
            found.setdefault(place, mark)
            if place[2] == "standby_power":  # one number of the unit, shown once
                found.setdefault((item, "standby", place[2]), mark)
    return NumberMarks(found)


def edition_page(number: int, part: int = 1) -> str:
    """Page of what moved in an edition; a long list has several parts."""
    return f"editions/{number}/{'index' if part == 1 else f'part-{part}'}.html"
