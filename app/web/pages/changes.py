"""What was changed on the bench: when, by whom, from what to what, and why."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Annotated, Any

from fastapi import APIRouter, Query, Request
from starlette.responses import Response

from app.services.recent_changes import recent_changes
from app.web.addresses import address
from app.web.dependencies import RenderDep, SessionDep
from app.web.page_context import Choice

router = APIRouter()

_SUBJECTS = ("trial", "unit under test", "room", "logger", "smoke source", "logger profile", "bench")
_ADDRESSES = {
    "trial": "/trials/{}",
    "unit under test": "/units/{}",
    "room": "/rooms/{}/edit",
    "logger": "/loggers/{}/edit",
    "smoke source": "/smoke-sources/{}/edit",
    "bench": "/bench",
}


@dataclass(frozen=True, slots=True)
class ChangesPage:
    """`addresses` leads from a change to the thing changed; "" where it has no page."""

    changes: Sequence[Any]
    addresses: dict[int, str]
    subjects: Sequence[Choice]
    consequences: bool
    newest: bool
    newest_address: str
    older_address: str


@router.get("/changes")
def changes(
    request: Request,
    session: SessionDep,
    render: RenderDep,
    cursor: str | None = None,
    subject: Annotated[str, Query(max_length=50)] = "",
    consequences: str = "",
) -> Response:
    part = recent_changes(session, 100, cursor, subject=subject, consequences=bool(consequences))
    query = {name: [value] for name, value in request.query_params.items()}
    page = ChangesPage(
        changes=part.rows,
        addresses={change.id: _ADDRESSES.get(change.subject, "").format(change.subject_id) for change in part.rows},
        subjects=(
            Choice("", "everything", not subject),
            *(Choice(each, each, each == subject) for each in _SUBJECTS),
        ),
        consequences=bool(consequences),
        newest=cursor is None,
        newest_address=address("/changes", query, cursor=None),
        older_address=address("/changes", query, cursor=part.next_cursor) if part.next_cursor else "",
    )
    return render("pages/changes.html", page)
