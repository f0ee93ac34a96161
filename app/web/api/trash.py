"""What lies in the trash, for scripts; it is put there and taken back by changing the trial or the unit."""

from datetime import datetime
from typing import Annotated, Literal

from fastapi import APIRouter, Query

from app.services.trials.trash import list_trash
from app.web.api.shapes import FromStore, Limit, OfBench, of_bench, problem_answers
from app.web.dependencies import SessionDep

router = APIRouter(tags=["bench"])


class TrashedShape(FromStore):
    """A trial or a unit in the trash, with all that was known of it; `who` and `why` are as they were told then."""

    subject: Literal["trial", "unit under test"]
    id: int
    name: str
    trashed_at: datetime
    who: str
    why: str


class TrashShape(OfBench):
    trash: list[TrashedShape]
    total: int


@router.get("/trash", responses=problem_answers())
def trash(
    session: SessionDep,
    limit: Limit = 100,
    offset: Annotated[int, Query(ge=0, le=1_000_000, description="How many to pass over")] = 0,
) -> TrashShape:
    """What lies in the trash, the last put there first. Nothing is ever removed from it for good."""
    found = list_trash(session, limit, offset)
    things = [TrashedShape.model_validate(thing) for thing in found.things]
    return TrashShape(trash=things, total=found.total, **of_bench(session))
