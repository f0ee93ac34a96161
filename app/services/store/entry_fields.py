"""Definitions of entry fields, one for each kind of entry.

A definition is a frozen dataclass whose fields are made by `text`, `number`, `count`, `day`, `flag` and `choice`, and
are named like the stored columns. Form, bulk table columns, API bodies and responses,
validation, and exclusion from data packages all derive from it. Definitions are in `definitions.py` of
each subject.
"""

import dataclasses
from collections.abc import Callable, Mapping
from dataclasses import MISSING, dataclass
from functools import cache
from typing import Any, Literal, TypeVar

from app.errors import InvalidValue
from app.services.store.checked_values import (
    LARGEST_COUNT,
    LONGEST_TEXT,
    day_seen,
    number_above_zero,
    number_not_below_zero,
    one_of,
    optional_text,
    required_text,
    whole_number_above_zero,
)

FieldKind = Literal["text", "number", "whole number", "day", "yes or no"]
Entry = TypeVar("Entry")


@dataclass(frozen=True, slots=True, kw_only=True)
class EntryField:
    """One field: its labels and its allowed values.

    label, unit, help : label, unit and help text in a form; without a label the field is in neither form nor bulk table
    what : name in messages; by default "The " and the label
    unit_from : name of the field with the unit of measure, if the person chooses it
    form_name, column : name in a form and in a bulk table, if not `name`
    words : description of the bulk table column; by default label and unit
    choices, choice_words : allowed values, and labels for those that need one
    needed : required; evidence : source of a value, so required in a bulk table
    zero, least, most : whether a number may be zero, and its bounds, if any
    lines : lines of its text area; 0 for a field of one line
    suggestions : suggested texts in the form
    private : internal, so excluded from data packages
    check : replaces the default validation; called with value, form name and `what`
    """

    name: str = ""
    kind: FieldKind
    default: Any
    label: str
    unit: str = ""
    help: str = ""
    what: str = ""
    unit_from: str = ""
    form_name: str = ""
    column: str = ""
    words: str = ""
    choices: tuple[str, ...] = ()
    choice_words: Mapping[str, str] = dataclasses.field(default_factory=dict, hash=False)
    needed: bool = False
    evidence: bool = False
    zero: bool = False
    least: float = 0.0
    most: float | None = None
    longest: int = LONGEST_TEXT
    lines: int = 0
    suggestions: tuple[str, ...] = ()
    autocomplete: str = "off"
    private: bool = False
    check: Callable[[Any, str, str], Any] | None = None

    def checked(self, value: Any, unit: str, name: str) -> Any:
        """Validates a value for storing; raises InvalidValue with the field called `name`."""
        if self.check is not None:
            return self.check(value, name, self.what)
        if value is None and not self.needed:
            return None
        if self.kind == "number":
            return self._number(value, name, unit or self.unit)
        if self.kind == "day":
            return day_seen(value, name, self.what)
        if self.kind == "whole number":
            return whole_number_above_zero(value, name, self.what, LARGEST_COUNT if self.most is None else self.most)
        if self.kind == "yes or no":
            return bool(value)
        if self.choices:
            return one_of(value, self.choices, name, self.what)
        return (required_text if self.needed else optional_text)(value, name, self.what, self.longest)

    def _number(self, value: float | None, name: str, unit: str) -> float:
        if self.most is not None and (value is None or not self.least <= value <= self.most):
            found = "missing" if value is None else f"{value:g} {unit}"
            raise InvalidValue(
                f"{self.what} is {found}; enter a number from {self.least:g} to {self.most:g} {unit}.",
                field=name,
            )
        if self.least < 0 and value is not None:
            return float(value)  # between its bounds
        number = (number_not_below_zero if self.zero else number_above_zero)(value, name, self.what, unit)
        if number < self.least:
            raise InvalidValue(
                f"{self.what} is {number:g} {unit}; enter at least {self.least:g}, or leave it empty if it is not "
                "known.",
                field=name,
            )
        return number

    @property
    def table_words(self) -> str:
        """Description of the column in a bulk table."""
        return self.words or f"{self.label[:1].lower()}{self.label[1:]}{self.unit and f', {self.unit}'}"

    @property
    def required(self) -> bool:
        """Whether it is required, because it has no default."""
        return self.needed and self.default is None


def text(label: str = "", help: str = "", *, default: Any = "", needed: bool = False, **more: Any) -> Any:
    """A text; a required one has no default."""
    return _entry("text", label, MISSING if needed else default, help=help, needed=needed, **more)


def choice(label: str = "", choices: tuple[str, ...] = (), *, default: Any = MISSING, **more: Any) -> Any:
    """One of the allowed values; required without a default."""
    return _entry("text", label, default, choices=choices, needed=default is MISSING, **more)


def number(label: str, unit: str = "", help: str = "", *, default: float | None = None, **more: Any) -> Any:
    """A number above zero, unless `zero` or bounds say otherwise."""
    return _entry("number", label, default, unit=unit, help=help, **more)


def count(label: str, *, default: int | None = 1, needed: bool = True, **more: Any) -> Any:
    """A whole number above zero; a needed one without a default has to be entered."""
    return _entry("whole number", label, default, needed=needed, **more)


def day(label: str, what: str, **more: Any) -> Any:
    """A date that is not in the future; `what` is dated by it."""
    return _entry("day", label, None, what=what, **more)


def flag(label: str, *, default: bool | None = False, **more: Any) -> Any:
    """Yes or no."""
    return _entry("yes or no", label, default, **more)


def _entry(kind: FieldKind, label: str, default: Any, *, initial: Any = MISSING, **more: Any) -> Any:
    """initial : value of a new entry where a blank field in a form is an error, not this value"""
    made = EntryField(kind=kind, label=label, default=None if default is MISSING else default, **more)
    return dataclasses.field(default=default if initial is MISSING else initial, metadata={"entry": made})


def entry_fields(definition: Any) -> tuple[EntryField, ...]:
    """The fields of a definition in their order."""
    return _entry_fields(definition)


@cache
def _entry_fields(definition: Any) -> tuple[EntryField, ...]:
    found = []
    for own in dataclasses.fields(definition):
        made: EntryField | None = own.metadata.get("entry")
        if made is not None:
            what = made.what or f"The {made.label[:1].lower()}{made.label[1:]}"
            names: dict[str, Any] = {"form_name": made.form_name or own.name, "column": made.column or own.name}
            found.append(dataclasses.replace(made, name=own.name, what=what, **names))
    return tuple(found)


def checked_entry(new: Any, prefix: str = "") -> dict[str, Any]:
    """All fields of an entry, validated for storing; raises InvalidValue for the first invalid one.

    prefix : prefix of the field names in a form with two such entries
    """
    values = stored_values(type(new), new)
    for field in entry_fields(type(new)):
        unit = values.get(field.unit_from, "")
        values[field.name] = field.checked(values[field.name], unit, f"{prefix}{field.form_name}")
    return values


def stored_values(definition: Any, row: object) -> dict[str, Any]:
    """The values of a stored row for the fields of a definition, by name."""
    return {own.name: getattr(row, own.name) for own in dataclasses.fields(definition)}


def changed_entry(definition: type[Entry], row: object, changed: Mapping[str, object], thing: str) -> Entry:
    """The entry of a stored row with some fields changed; InvalidValue names an unknown field."""
    values = stored_values(definition, row)
    unknown = sorted(changed.keys() - values.keys())
    if unknown:
        raise InvalidValue(
            f"{thing} has no field {unknown[0]!r}; its fields are: {', '.join(values)}.", field=unknown[0]
        )
    return definition(**values | dict(changed))


def entry_from(definition: type[Entry], asked: object) -> Entry:
    """The entry with the values of a body, checked under the names of the body's fields."""
    values = stored_values(definition, asked)
    for field in entry_fields(definition):
        field.checked(values[field.name], str(values.get(field.unit_from, "")), field.name)
    return definition(**values)
