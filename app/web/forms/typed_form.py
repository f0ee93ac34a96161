"""A form as it was typed: read field by field, with every mistake kept beside its field.

What was typed is never lost: the page that shows the mistakes shows the same words again.
"""

import re
from collections.abc import AsyncIterator, Collection, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import date
from typing import Annotated

from fastapi import Depends, Request
from sqlalchemy.orm import Session
from starlette.datastructures import FormData, UploadFile

from app.errors import HazefallError, StoreProblem

_TWO_READINGS = re.compile(r"[-+]?\d{1,3}(,\d{3})+")
_LONGEST_SHOWN = 60


class _AttemptEnded(Exception):
    """Ends an attempt whose mistakes stand in the form already."""


@dataclass(slots=True)
class TypedForm:
    """The typed words of each field, and the mistakes found so far.

    values : field name to all its values, in order; a tick box that is off sends none
    errors : field name to what is wrong with it; "" holds what belongs to no field
    """

    values: dict[str, list[str]] = field(default_factory=dict)
    files: dict[str, UploadFile] = field(default_factory=dict)
    errors: dict[str, str] = field(default_factory=dict)

    def typed(self, name: str, default: str = "") -> str:
        """What stands in a field, for showing it again."""
        return self.values[name][0] if self.values.get(name) else default

    def error(self, name: str) -> str:
        return self.errors.get(name, "")

    @property
    def is_good(self) -> bool:
        return not self.errors

    @property
    def problems(self) -> list[str]:
        """Every mistake as a sentence, for the box above the form."""
        return list(dict.fromkeys(self.errors.values()))

    @property
    def accepted(self) -> dict[str, list[str]]:
        """What was typed without the fields that were refused, for the address of a picture beside them."""
        return {name: texts for name, texts in self.values.items() if name not in self.errors}

    def add_error(self, name: str, message: str) -> None:
        """Notes a mistake; the first one of a field stays."""
        self.errors.setdefault(name, message)

    def text(self, name: str) -> str:
        return self.typed(name).strip()

    def needed_text(self, name: str, what: str) -> str:
        text = self.text(name)
        if not text:
            self.add_error(name, f"{what} is empty; type it in.")
        return text

    def number(self, name: str, what: str) -> float | None:
        """A number with a decimal point or comma; None where the field is empty or holds no number."""
        text = self.text(name).replace("\u2212", "-")
        if not text:
            return None
        if _TWO_READINGS.fullmatch(text):
            self.add_error(name, f"{what}: {text!r} can be read in two ways. Type the number without the comma.")
            return None
        try:
            return float(text.replace(",", "."))
        except ValueError:
            self.add_error(
                name, f"{what}: found {text[:_LONGEST_SHOWN]!r}; a number such as 12.5 is needed. Correct it."
            )
            return None

    def whole_number(self, name: str, what: str) -> int | None:
        text = self.text(name)
        if not text:
            return None
        if not re.fullmatch(r"[-+]?\d{1,12}", text):
            self.add_error(name, f"{what}: found {text[:_LONGEST_SHOWN]!r}; a whole number is needed. Correct it.")
            return None
        return int(text)

    def one_of(self, name: str, what: str, known: Collection[str]) -> str:
        """One of the values that there are; "" where the field is empty or holds another one, which is then told."""
        text = self.text(name)
        if not text or text in known:
            return text
        needed = ", ".join(known) or "none, for there is nothing to choose from"
        self.add_error(name, f"{what} is {text[:_LONGEST_SHOWN]!r}; it needs one of: {needed}. Correct the address.")
        return ""

    def day(self, name: str, what: str) -> date | None:
        text = self.text(name)
        if not text:
            return None
        try:
            return date.fromisoformat(text)
        except ValueError:
            self.add_error(
                name, f"{what}: found {text[:_LONGEST_SHOWN]!r}; a date such as 2026-03-31 is needed. Correct it."
            )
            return None

    def ticked(self, name: str) -> bool:
        return bool(self.values.get(name))

    def stop_if_errors(self) -> None:
        """Ends an attempt in which a mistake was noted, so that nothing of it stays in the store."""
        if self.errors:
            raise _AttemptEnded("The form holds mistakes; they stand beside their fields.")

    @contextmanager
    def attempt(self, session: Session) -> Iterator[None]:
        """Runs a change; where it is refused nothing of it stays in the store and the reason stands by its field."""
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
        """Runs a change for its mistakes alone: they stand by their fields, and nothing of it stays in the store."""
        with self.attempt(session):
            yield
            raise _AttemptEnded("A rehearsal, which is always taken back.")


def typed_form_of(data: FormData) -> TypedForm:
    form = TypedForm()
    for name, value in data.multi_items():
        if isinstance(value, UploadFile):
            form.files[name] = value
        else:
            form.values.setdefault(name, []).append(value)
    return form


def empty_form(**values: object) -> TypedForm:
    """A form to be filled in, with what is known already; None leaves a field empty."""
    told = {name: value for name, value in values.items() if value is not None and value is not False}
    return TypedForm({name: [_as_typed(value)] for name, value in told.items()})


def _as_typed(value: object) -> str:
    if value is True:
        return "1"
    if isinstance(value, float):
        return f"{value:.10g}"
    return value.isoformat() if isinstance(value, date) else str(value)


async def _typed_form(request: Request) -> AsyncIterator[TypedForm]:
    async with request.form(max_files=4, max_fields=5000) as data:  # closes what was uploaded at the end
        yield typed_form_of(data)


TypedFormDep = Annotated[TypedForm, Depends(_typed_form)]
