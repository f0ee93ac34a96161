"""Columns of a bulk table: names, contents, and reading a cell with an error message that names the line."""

import re
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any, TypeVar

from app.errors import InvalidValue
from app.reading_files.text.number_text import number_in
from app.services.store.entry_fields import EntryField, entry_fields

Entry = TypeVar("Entry")
_YES = frozenset({"yes", "y", "true", "1", "x"})
_NO = frozenset({"no", "n", "false", "0", ""})
_DAY_FORMATS = ("%Y-%m-%d", "%Y/%m/%d", "%Y-%m-%d %H:%M:%S", "%Y-%m-%dT%H:%M:%S", "%d.%m.%Y")
_LONGEST_SHOWN = 60


@dataclass(frozen=True, slots=True)
class BulkRow:
    """One row as text by column name, without missing columns and empty cells."""

    line: int
    cells: dict[str, str]
    decimal_mark: str

    def entry(self, definition: type[Entry], **known: Any) -> Entry:
        """The row as an entry; an empty cell takes the default of its field, and `known` goes before the cells."""
        values = dict(known)
        for field in entry_fields(definition):
            if field.name not in known and field.column in self.cells:
                values[field.name] = self._value(field)
        entry = definition(**values)
        for field in entry_fields(definition):
            unit = getattr(entry, field.unit_from) if field.unit_from else ""
            field.checked(getattr(entry, field.name), unit, field.column)
        return entry

    def _value(self, field: EntryField) -> Any:
        if field.kind == "number":
            return self.number(field.column)
        if field.kind == "whole number":
            return self.whole_number(field.column)
        if field.kind == "day":
            return self.day(field.column)
        if field.kind == "yes or no":
            return self.yes(field.column)
        typed = self.cells[field.column]
        return next((each for each in field.choices if each.casefold() == typed.casefold()), typed)

    def text(self, name: str) -> str:
        return self.cells.get(name, "")

    def number(self, name: str) -> float | None:
        text = self.cells.get(name)
        if text is None:
            return None
        value = number_in(text, self.decimal_mark)
        if value is None:
            raise InvalidValue(f"{name}: found {text[:_LONGEST_SHOWN]!r}; enter a number.", field=name)
        return value

    def whole_number(self, name: str) -> int | None:
        value = self.number(name)
        if value is None:
            return None
        if value != int(value):
            raise InvalidValue(f"{name}: found {self.cells[name]!r}; enter a whole number.", field=name)
        return int(value)

    def day(self, name: str) -> date | None:
        text = self.cells.get(name)
        if text is None:
            return None
        for form in _DAY_FORMATS:
            try:
                return datetime.strptime(text, form).date()  # noqa: DTZ007  a calendar day has no zone
            except ValueError:
                continue
        raise InvalidValue(f"{name}: found {text[:_LONGEST_SHOWN]!r}; enter a date such as 2026-03-31.", field=name)

    def yes(self, name: str) -> bool:
        text = self.cells.get(name, "")
        if text.casefold() in _YES:
            return True
        if text.casefold() in _NO:
            return False
        raise InvalidValue(f"{name}: found {text[:_LONGEST_SHOWN]!r}; enter yes or no.", field=name)


def column_key(header: str) -> str:
    """Normalised header: lower case, one underscore between words, no brackets.

    >>> column_key("Price per pack"), column_key(" Sound [dB(A)] "), column_key("Seen-on")
    ('price_per_pack', 'sound_dba', 'seen_on')
    """
    plain = header.strip().casefold().replace("µ", "u").replace("³", "3").replace("²", "2")
    return re.sub(r"[^a-z0-9]+", "_", re.sub(r"[()\[\]]", "", plain)).strip("_")
