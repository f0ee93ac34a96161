"""Tables with one row for each quantity ("Parameter", "Value", "Unit") instead of one column for each."""

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

from app.reading_files.headers.channels import channel
from app.reading_files.headers.search import Header
from app.reading_files.headers.words import header_meaning
from app.reading_files.log_table import LogColumn
from app.reading_files.text.number_text import number_in
from app.reading_files.text.plain_text import plain_text
from app.reading_files.text.unit_symbols import conversion, is_unit, shown_unit

if TYPE_CHECKING:
    import pandas as pd

_NAME_HEADER = re.compile(
    r"(?:param|parameters?|variable|channel|quantity|measurement|metric|pollutant|analyte|type|sensor|field|tag|item|"
    r"signal|name|kind|entity)(?:[\s_](?:id|name|type))?"
)
_VALUE_HEADER = re.compile(r"value|reading|result|wert|valeur|valor|measurement|sample measurement|level|state")
MOST_QUANTITIES = 60


@dataclass(frozen=True, slots=True)
class LongLayout:
    """Positions of the columns with the quantity's name, its value and its unit."""

    name: int
    value: int
    unit: int | None

    @property
    def text_positions(self) -> list[int]:
        """The columns that hold text."""
        return [place for place in (self.name, self.unit) if place is not None]


def find_long_layout(header: Header, cells: list[list[str]], decimal_mark: str) -> LongLayout | None:
    """The layout, if the table names its quantities in rows."""
    plain = [plain_text(name).strip(" _") for name in header.names]
    names = [
        place
        for place, name in enumerate(plain)
        if _NAME_HEADER.fullmatch(name) and any(header_meaning(cell).channel for cell in cells[place][:50])
    ]
    values = [
        place
        for place, name in enumerate(plain)
        if _VALUE_HEADER.fullmatch(name) and any(number_in(cell, decimal_mark) is not None for cell in cells[place])
    ]
    if not names or not values:
        return None
    units = [
        place
        for place, name in enumerate(plain)
        if name in ("unit", "units", "einheit", "unite") and any(is_unit(cell) for cell in cells[place])
    ]
    return LongLayout(names[0], values[0], units[0] if units else None)


@dataclass(frozen=True, slots=True)
class Quantity:
    """One quantity of a long table: its column, and the rows that hold it."""

    column: LogColumn
    rows: "pd.Series"


def quantities(frame: "pd.DataFrame", layout: LongLayout, chosen: dict[str, str]) -> list[Quantity]:
    """The quantities that the rows name, as columns."""
    found: list[Quantity] = []
    taken: set[str] = set()
    texts = frame[layout.name].fillna("").astype(str).str.strip()
    units = frame[layout.unit].fillna("").astype(str).str.strip() if layout.unit is not None else None
    for text in list(dict.fromkeys(texts))[:MOST_QUANTITIES]:
        if not text:
            continue
        named = texts == text
        for unit in list(dict.fromkeys(units[named]))[:5] if units is not None else [""]:
            rows = named & (units == unit) if units is not None else named
            column = _column(layout, text, unit, taken, chosen, frame[layout.value][rows])
            found.append(Quantity(column, rows))
    return found


def _column(
    layout: LongLayout, text: str, unit: str, taken: set[str], chosen: dict[str, str], values: "pd.Series"
) -> LogColumn:
    first = tuple(str(value) for value in values.head(5))
    meaning = header_meaning(text, unit)
    name = chosen.get(text, meaning.channel)
    if not name:
        reason = "left out by choice" if text in chosen else meaning.reason
        return LogColumn(layout.value, text, None, "left out", unit, "", 1.0, 0.0, reason, first)
    taken.add(name)
    wanted = channel(name).unit
    turned = conversion(meaning.unit or wanted, wanted)
    reason = f"rows named “{text}”"
    if turned is None:
        own = shown_unit(meaning.unit)
        return LogColumn(layout.value, text, name, "channel", own, own, 1.0, 0.0, reason, first)
    shown = shown_unit(meaning.unit) if meaning.unit else ""
    return LogColumn(layout.value, text, name, "channel", shown, wanted, turned.factor, turned.offset, reason, first)
