"""Documentation of problem kinds; the `type` of every problem document links here."""

from pydantic import BaseModel

from app.errors import HazefallError, NotFound
from app.web.api.shapes import problem_answers
from app.web.problems import HTTP_KINDS, kind_of
from app.web.routers import api_router

router = api_router("problems")


class ProblemKind(BaseModel):
    kind: str
    status: int
    title: str
    meaning: str


def problem_kinds() -> dict[str, ProblemKind]:
    """All kinds by name: our own errors, and those of HTTP."""
    own = {
        kind_of(family): ProblemKind(
            kind=kind_of(family),
            status=family.status,
            title=family.title,
            meaning=(family.__doc__ or "").strip().splitlines()[0],
        )
        for family in HazefallError.__subclasses__()
    }
    http = {
        kind: ProblemKind(kind=kind, status=status, title=kind.replace("-", " ").capitalize(), meaning=meaning)
        for kind, (status, meaning) in HTTP_KINDS.items()
    }
    return http | own


@router.get("/problems/{kind}", responses=problem_answers(404))
def problem(kind: str) -> ProblemKind:
    kinds = problem_kinds()
    if kind not in kinds:
        raise NotFound("kind of problem", repr(kind[:40]))
    return kinds[kind]
