"""Published editions: digest, numbers, and what moved since the one before."""

from datetime import datetime

from pydantic import BaseModel, Field

from app.services.publishing.editions import Edition, get_edition, list_editions, manifest_of, moved_in, numbers_of
from app.services.publishing.numbers.moved import MovedNumber
from app.services.publishing.numbers.published_number import Measured, PublishedNumber
from app.web.api.derived import answer
from app.web.api.shapes import Cursor, Id, Limit, OfBench, of_bench, problem_answers
from app.web.dependencies import SessionDep
from app.web.routers import api_router

router = api_router("editions")


class EditionLine(BaseModel):
    """One edition. `digest` is the SHA-256 of its `edition.json`; `numbers` and `moved` are counts."""

    edition: int
    published_at: datetime
    digest: str
    numbers: int
    moved: int
    method_version: str


class EditionList(OfBench):
    """Editions, newest first."""

    editions: list[EditionLine]
    next_cursor: str | None


@answer(PublishedNumber)
class NumberShape(BaseModel):
    """A published number. Its parts are null where they are not known; `bound` marks what was not measured directly.

    of : setting, or channel of a trial; based_on : everything behind it besides its trials, by kind
    """

    based_on: dict[str, list[str]]


class ValueShape(BaseModel):
    """A published number as it was or is: `text` as readers see it, and its parts."""

    text: str
    value: float | None
    uncertainty: float | None
    low_95: float | None
    high_95: float | None
    bound: str


@answer(MovedNumber, without=("measured_before", "measured_after"))
class MovedShape(BaseModel):
    """A number that differs from the edition before: both values and the reason. `before` is null for a new number,
    `after` for one that is no longer published.
    """

    kind: str = Field(description='"moved", "new" or "no longer published"')
    before: ValueShape | None
    after: ValueShape | None


class EditionShape(OfBench):
    """An edition with every published number, and what moved since the one before.

    before : digest of that one, null for the first; numbers_sha256 : of the file with the numbers
    """

    edition: int
    published_at: datetime
    digest: str
    before: str | None
    method_version: str
    program_version: str
    base_url: str
    numbers_sha256: str
    files: int
    numbers: list[NumberShape]
    moved: list[MovedShape]


@router.get("/editions", responses=problem_answers())
def editions(session: SessionDep, limit: Limit = 100, cursor: Cursor = None) -> EditionList:
    part = list_editions(session, limit, cursor)
    return EditionList(
        editions=[_line(edition) for edition in part.rows], next_cursor=part.next_cursor, **of_bench(session)
    )


@router.get("/editions/{number}", responses=problem_answers(404))
def edition(session: SessionDep, number: Id, unit_id: int | None = None) -> EditionShape:
    """One edition; `unit_id` leaves only the numbers of that unit and its trials."""
    found = get_edition(session, number)
    manifest = manifest_of(session, found)
    numbers, moved = numbers_of(session, found), moved_in(session, found)
    return EditionShape(
        edition=found.id,
        published_at=found.published_at,
        digest=found.digest,
        before=manifest.before or None,
        method_version=found.method_version,
        program_version=manifest.program_version,
        base_url=manifest.base_url,
        numbers_sha256=found.numbers_sha256,
        files=len(manifest.files),
        numbers=[_number(one) for one in numbers if unit_id is None or one.unit_id == unit_id],
        moved=[_moved(one) for one in moved if unit_id is None or one.unit_id == unit_id],
        **of_bench(session),
    )


def _line(edition: Edition) -> EditionLine:
    return EditionLine(
        edition=edition.id,
        published_at=edition.published_at,
        digest=edition.digest,
        numbers=edition.numbers,
        moved=edition.moved,
        method_version=edition.method_version,
    )


def _number(number: PublishedNumber) -> NumberShape:
    return NumberShape(**number.as_json)


def _moved(moved: MovedNumber) -> MovedShape:
    own = {name: getattr(moved, name) for name in MovedShape.model_fields}
    before, after = _value(moved.before, moved.measured_before), _value(moved.after, moved.measured_after)
    return MovedShape(**own | {"before": before, "after": after})


def _value(text: str, measured: Measured | None) -> ValueShape | None:
    if measured is None:
        return None
    value, uncertainty, low, high, bound = measured
    return ValueShape(text=text, value=value, uncertainty=uncertainty, low_95=low, high_95=high, bound=bound)
