"""The trash: what is in it, who put it there and why, and how to restore it."""

from collections.abc import Sequence
from dataclasses import dataclass

from fastapi import Request
from starlette.responses import Response

from app.services.trials.trash import TRIAL, list_trash
from app.web.dependencies import RenderDep, SessionDep
from app.web.forms.addresses import address, query_form
from app.web.routers import page_router
from app.web.templating.page_context import PageLinks

router = page_router()
_ROWS = 100
_MOST = 1_000_000


@dataclass(frozen=True, slots=True)
class TrashLine:
    """One item in the trash; `path` is its page, below which it is restored."""

    kind: str
    name: str
    path: str
    when: str
    who: str
    why: str


@dataclass(frozen=True, slots=True)
class TrashPage:
    lines: Sequence[TrashLine]
    total: int
    links: PageLinks


@router.get("/trash")
def trash(request: Request, session: SessionDep, render: RenderDep) -> Response:
    form = query_form(request.query_params)
    offset = min(max(form.whole_number("offset", "The list position") or 0, 0), _MOST)
    found = list_trash(session, _ROWS, offset)
    lines = [
        TrashLine(
            kind="Trial" if thing.subject == TRIAL else "Unit",
            name=thing.name,
            path=f"/{'trials' if thing.subject == TRIAL else 'units'}/{thing.id}",
            when=thing.trashed_at.strftime("%Y-%m-%d %H:%M"),
            who=thing.who,
            why=thing.why,
        )
        for thing in found.things
    ]
    after = offset + len(lines)
    earlier = max(0, offset - _ROWS) or None
    links = PageLinks(
        first=offset + 1 if lines else 0,
        last=after,
        total=found.total,
        previous_address=address("/trash", form.values, offset=earlier) if offset else "",
        next_address=address("/trash", form.values, offset=after) if after < found.total else "",
    )
    return render("pages/bench/trash.html", TrashPage(lines, found.total, links))
