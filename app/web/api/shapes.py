"""Models shared by several routers: measured quantities, problems, paging."""

from typing import Annotated, Any, Literal, Self

from fastapi import Header, Path, Query
from pydantic import BaseModel, ConfigDict, Field
from sqlalchemy.orm import Session

from app.compute.wording.notes import Note
from app.services.bench.invented import invented_bench
from app.services.store.checked_values import LONGEST_KEY

Limit = Annotated[int, Query(ge=1, le=500, description="Maximum number of rows")]
Cursor = Annotated[str | None, Query(description="`next_cursor` of the previous page; omit for the first page")]

_COVERAGE_95 = 1.959963984540054  # two-sided 95 % point of the normal distribution
# PostgreSQL stores ids in four bytes; larger numbers are not ids.
LARGEST_ID = 2_147_483_647
Id = Annotated[int, Path(ge=1, le=LARGEST_ID)]
Key = Annotated[
    str,
    Header(
        alias="Idempotency-Key",
        max_length=LONGEST_KEY,
        description="Any text that names this request; a repeat with the same key changes nothing",
    ),
]
IdOrNone = Annotated[int | None, Field(ge=1, le=LARGEST_ID)]


class RequestBody(BaseModel):
    """A request body; unknown fields are rejected."""

    model_config = ConfigDict(extra="forbid")


class FromStore(BaseModel):
    """A response read from a row of the store."""

    model_config = ConfigDict(from_attributes=True)

    @classmethod
    def of(cls, row: object, **more: object) -> Self:
        """The answer with the values of a row, and those that are not read off it."""
        return cls.model_validate({n: getattr(row, n) for n in cls.model_fields if n not in more} | more)


class OfBench(BaseModel):
    """Fields on the bench in every response with numbers; `invented_words` is empty for real measurements."""

    invented: bool
    invented_words: str


def of_bench(session: Session) -> dict[str, Any]:
    """The fields of `OfBench`."""
    said = invented_bench(session)
    return {"invented": said.invented, "invented_words": said.words}


class MeasuredShape(BaseModel):
    """A measured quantity: its value, standard uncertainty and 95 % interval, all in the unit of the field's name.

    The interval uses the degrees of freedom that the data support, so it is not always value ± 2 uncertainty.
    """

    value: float
    uncertainty: float
    low_95: float
    high_95: float

    @classmethod
    def of(cls, quantity: Any) -> "MeasuredShape":
        """From a Measured, or from a quantity with an asymmetric interval."""
        return cls(
            value=quantity.value, uncertainty=quantity.uncertainty, low_95=quantity.low_95, high_95=quantity.high_95
        )

    @classmethod
    def normal(cls, value: float, uncertainty: float) -> "MeasuredShape":
        """With infinite degrees of freedom; the quantity cannot lie below zero."""
        half = _COVERAGE_95 * uncertainty
        return cls(value=value, uncertainty=uncertainty, low_95=max(0.0, value - half), high_95=value + half)

    def times(self, factor: float) -> "MeasuredShape":
        """The same quantity in another unit; the factor is above zero."""
        return MeasuredShape(**{name: number * factor for name, number in self.model_dump().items()})


def measured_from_parts(
    value: float | None, uncertainty: float | None, low_95: float | None, high_95: float | None
) -> MeasuredShape | None:
    """A measured quantity from stored columns; None if any is missing."""
    if value is None or uncertainty is None or low_95 is None or high_95 is None:
        return None
    return MeasuredShape(value=value, uncertainty=uncertainty, low_95=low_95, high_95=high_95)


class NoteShape(FromStore):
    """A note: a stable code, severity, text, and the evidence with its limit."""

    code: str
    severity: Literal["fine", "care", "unusable"]
    message: str
    value: float | None
    limit: float | None
    unit: str
    at_min: float | None

    @classmethod
    def of_note(cls, note: Note) -> Self:
        """The message is the finding and what to do about it."""
        return cls.of(note, message=note.text)


class VerdictShape(BaseModel):
    """Whether a channel of a trial has results: usable, check (usable after reading the reasons) or unusable."""

    status: Literal["usable", "check", "unusable"]
    reasons: list[str]
    advice: list[str]


class FieldMistakeShape(BaseModel):
    field: str
    message: str


class ProblemShape(BaseModel):
    """An RFC 9457 problem document. `errors` names the invalid fields; an unreadable log also has file, line and text
    found.
    """

    type: str
    title: str
    status: int
    detail: str
    instance: str
    errors: list[FieldMistakeShape] | None = None
    file_name: str | None = None
    line: int | None = None
    text: str | None = None


_MEANING = {
    400: "The body cannot be parsed",
    404: "Not found",
    409: "It already exists; nothing was saved a second time",
    413: "The upload is too large",
    422: "Invalid value; the detail says what was found, what is allowed and what to do",
    503: "The store is unavailable",
}


def problem_answers(*statuses: int) -> dict[int | str, dict[str, Any]]:
    """Responses for the schema: these statuses have a problem document. 422 and 503 are always included."""
    content = {"application/problem+json": {"schema": {"$ref": "#/components/schemas/ProblemShape"}}}
    return {
        status: {"description": _MEANING[status], "model": ProblemShape, "content": content}
        for status in sorted({422, 503, *statuses})
    }
