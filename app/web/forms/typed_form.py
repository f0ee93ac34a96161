"""A submitted form, read field by field, with errors beside each field.

Input is never lost: the page with the errors shows the typed values again.
"""

import re
from collections.abc import AsyncIterator, Collection, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import date
from typing import TYPE_CHECKING, Annotated, Any, TypeVar

from fastapi import Depends, Request
from sqlalchemy.orm import Session
from starlette.datastructures import FormData, UploadFile

from app.errors import HazefallError, InvalidValue, StoreProblem
from app.services.store.entry_fields import EntryField, entry_fields

if TYPE_CHECKING:
    from app.web.forms.form_fields import FormField

Entry = TypeVar("Entry")

_TWO_READINGS = re.compile(r"[-+]?\d{1,3}(,\d{3})+")
_LONGEST_SHOWN = 60
MOST_FILES = 30  # in one form


class _AttemptEnded(Exception):
    """Ends an attempt whose errors are in the form already."""


@dataclass(slots=True)
class TypedForm:
    """The typed text of each field, and the errors found so far.

    values : field name to all its values, in order; an unticked box sends none
    further_files : where a field has several files, those after the first
    errors : field name to its message; "" for messages that belong to no field
    """

    values: dict[str, list[str]] = field(default_factory=dict)
    files: dict[str, UploadFile] = field(default_factory=dict)
    further_files: list[UploadFile] = field(default_factory=list)
    errors: dict[str, str] = field(default_factory=dict)

    def typed(self, name: str, default: str = "") -> str:
        """Text of a field, for showing it again."""
        return self.values[name][0] if self.values.get(name) else default

    def error(self, name: str) -> str:
        return self.errors.get(name, "")

    @property
    def is_good(self) -> bool:
        return not self.errors

    @property
    def problems(self) -> list[str]:
        """All messages, for the box above the form."""
        return list(dict.fromkeys(self.errors.values()))

    @property
    def linked_problems(self) -> list[tuple[str, str]]:
        """Field and message of each error, "" for the field of one that belongs to none."""
        of_message: dict[str, str] = {}
        for name, message in self.errors.items():
            of_message.setdefault(message, name)
        return [(name, message) for message, name in of_message.items()]

    @property
    def accepted(self) -> dict[str, list[str]]:
        """The typed values without the invalid fields, for the URL of a chart beside the form."""
        return {name: texts for name, texts in self.values.items() if name not in self.errors}

    def add_error(self, name: str, message: str) -> None:
        """Adds an error; the first one of a field stays."""
        self.errors.setdefault(name, message)

    def text(self, name: str) -> str:
        return self.typed(name).strip()

    def needed_text(self, name: str, what: str) -> str:
        text = self.text(name)
        if not text:
            self.add_error(name, f"{what} is empty. Enter a value.")
        return text

    def number(self, name: str, what: str) -> float | None:
        """A number with a decimal point or comma; None if the field is empty or invalid."""
        text = self.text(name).replace("\u2212", "-")
        if not text:
            return None
        if _TWO_READINGS.fullmatch(text):
            self.add_error(name, f"{what}: {text!r} is ambiguous. Enter the number without the comma.")
            return None
        try:
            return float(text.replace(",", "."))
        except ValueError:
            self.add_error(name, f"{what}: found {text[:_LONGEST_SHOWN]!r}; enter a number such as 12.5.")
            return None

    def whole_number(self, name: str, what: str) -> int | None:
        text = self.text(name)
        if not text:
            return None
        if not re.fullmatch(r"[-+]?\d{1,12}", text):
            self.add_error(name, f"{what}: found {text[:_LONGEST_SHOWN]!r}; enter a whole number.")
            return None
        return int(text)

    def one_of(self, name: str, what: str, known: Collection[str]) -> str:
        """One of the known values; "" if the field is empty or, with an error, invalid."""
        text = self.text(name)
        if not text or text in known:
            return text
        needed = ", ".join(known) or "none, as there are no options"
        self.add_error(name, f"{what} is {text[:_LONGEST_SHOWN]!r}; choose one of: {needed}. Correct the URL.")
        return ""

    def day(self, name: str, what: str) -> date | None:
        text = self.text(name)
        if not text:
            return None
        try:
            return date.fromisoformat(text)
        except ValueError:
            self.add_error(name, f"{what}: found {text[:_LONGEST_SHOWN]!r}; enter a date such as 2026-03-31.")
            return None

    def ticked(self, name: str) -> bool:
        return bool(self.values.get(name))

    def entry(self, definition: type[Entry], prefix: str = "", **known: Any) -> Entry | None:
        """The typed entry, with errors added to their fields; None if there is one.

        prefix : prefix of the field names in a form with two such entries
        known : values that are not read from the form
        """
        asked = [each for each in entry_fields(definition) if each.name not in known]
        own = {each: f"{prefix}{each.form_name}" for each in asked}
        values = known | {each.name: self._value(each, name) for each, name in own.items()}
        for each, name in own.items():
            try:
                if name not in self.errors:
                    each.checked(values[each.name], str(values.get(each.unit_from, "")), name)
            except InvalidValue as error:
                self.add_error(name, error.message)
        return None if self.errors.keys() & set(own.values()) else definition(**values)

    def fields(self, what: str, prefix: str = "") -> "list[FormField]":
        """Form fields of an entry, such as "room", for the template."""
        from app.web.forms.form_fields import fields_shown  # loaded when used: it knows all entries

        return fields_shown(what, prefix, self.values, self.errors)

    def _value(self, entry: EntryField, name: str) -> Any:
        if entry.kind == "yes or no":
            return self.ticked(name)
        if entry.kind == "day":
            return self.day(name, entry.label)
        if entry.kind == "text":
            return self.text(name) or (entry.default if entry.choices else "")
        found = self.number(name, entry.what) if entry.kind == "number" else self.whole_number(name, entry.what)
        return entry.default if found is None else found

    def stop_if_errors(self) -> None:
        """Ends an attempt if the form has errors, so that nothing is stored."""
        if self.errors:
            raise _AttemptEnded("The form has errors; see the messages beside the fields.")

    @contextmanager
    def attempt(self, session: Session) -> Iterator[None]:
        """Runs a change; on an error nothing of it is stored, and the message goes to its field."""
        try:
            with session.begin_nested():
                yield
        except StoreProblem:
            raise
        except _AttemptEnded:
            pass
        except HazefallError as error:
            self.add_error(error.field or "", error.message)

    @contextmanager
    def dry_run(self, session: Session) -> Iterator[None]:
        """Runs a change only to find its errors; nothing of it is stored."""
        with self.attempt(session):
            yield
            raise _AttemptEnded("A dry run, which is always rolled back.")


def typed_form_of(data: FormData) -> TypedForm:
    form = TypedForm()
    for name, value in data.multi_items():
        if isinstance(value, UploadFile):
            if name in form.files:
                form.further_files.append(value)
            form.files.setdefault(name, value)
        else:
            form.values.setdefault(name, []).append(value)
    return form


def filled_form(definition: Any, stored: object, **more: object) -> TypedForm:
    """A form that shows a stored row, ready to be changed."""
    return empty_form(**{each.form_name: getattr(stored, each.name) for each in entry_fields(definition)} | more)


def empty_form(**values: object) -> TypedForm:
    """A form with initial values; None leaves a field empty."""
    told = {name: value for name, value in values.items() if value is not None and value is not False}
    return TypedForm({name: [_as_typed(value)] for name, value in told.items()})


def _as_typed(value: object) -> str:
    if value is True:
        return "1"
    if isinstance(value, float):
        return f"{value:.10g}"
    return value.isoformat() if isinstance(value, date) else str(value)


async def _typed_form(request: Request) -> AsyncIterator[TypedForm]:
    async with request.form(max_files=MOST_FILES + 1, max_fields=5000) as data:  # closes the uploaded files at the end
        yield typed_form_of(data)


TypedFormDep = Annotated[TypedForm, Depends(_typed_form)]
