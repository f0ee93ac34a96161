"""The trash, for scripts; items are trashed and restored by changing the trial or unit."""

from typing import Annotated, Literal

from fastapi import Query

from app.services.trials.trash import TrashedItem, list_trash
from app.web.api.derived import answer
from app.web.api.shapes import FromStore, Limit, OfBench, of_bench, problem_answers
from app.web.dependencies import SessionDep
from app.web.routers import api_router

router = api_router("bench")


@answer(TrashedItem)
class TrashedShape(FromStore):
    """A trashed trial or unit with its data; `who` and `why` are as given then."""

    subject: Literal["trial", "unit under test"]


class TrashShape(OfBench):
    trash: list[TrashedShape]
    total: int


@router.get("/trash", responses=problem_answers())
def trash(
    session: SessionDep,
    limit: Limit = 100,
    offset: Annotated[int, Query(ge=0, le=1_000_000, description="Number of items to skip")] = 0,
) -> TrashShape:
    """Contents of the trash, latest first. Nothing is ever removed from it for good."""
    found = list_trash(session, limit, offset)
    things = [TrashedShape.model_validate(thing) for thing in found.things]
    return TrashShape(trash=things, total=found.total, **of_bench(session))
