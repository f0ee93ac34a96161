"""Page of the history: what was changed, when, by whom, and why."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Annotated

from fastapi import Query, Request
from starlette.responses import Response

from app.services.history.change_history import ChangeFilter, DescribedChange, described_changes
from app.services.units.list import unit_names
from app.web.api.shapes import LARGEST_ID
from app.web.dependencies import RenderDep, SessionDep
from app.web.forms.addresses import address
from app.web.routers import page_router
from app.web.templating.page_context import Choice

router = page_router()

_SUBJECTS = {
    "trial": "trials",
    "unit under test": "units under test",
    "room": "rooms",
    "logger": "loggers",
    "smoke source": "smoke sources",
    "logger profile": "logger profiles",
    "tariff": "tariffs",
    "bench": "the bench",
    "account": "accounts",
}
_ADDRESSES = {
    "trial": "/trials/{}",
    "unit under test": "/units/{}",
    "room": "/rooms/{}/edit",
    "logger": "/loggers/{}/edit",
    "smoke source": "/smoke-sources/{}/edit",
    "bench": "/bench",
    "tariff": "/tariffs",
    "account": "/accounts/{}",
    "logger profile": "/loggers",
}


@dataclass(frozen=True, slots=True)
class ChangesPage:
    """`addresses` gives the URL of the changed item; "" if it has no page."""

    changes: Sequence[DescribedChange]
    addresses: dict[int, str]
    subjects: Sequence[Choice]
    units: Sequence[Choice]
    consequences: bool
    corrections: bool
    narrowed: bool
    newest: bool
    newest_address: str
    older_address: str


def address_of(subject: str, subject_id: int) -> str:
    """URL of the page of an item; "" if it has none."""
    return _ADDRESSES.get(subject, "").format(subject_id)


@router.get("/changes")
def changes(
    request: Request,
    session: SessionDep,
    render: RenderDep,
    cursor: str | None = None,
    subject: Annotated[str, Query(max_length=50)] = "",
    unit: Annotated[str, Query(max_length=12)] = "",
    consequences: str = "",
    corrections: str = "",
) -> Response:
    unit_id = int(unit) if unit.isdecimal() and int(unit) <= LARGEST_ID else None
    part = described_changes(
        session,
        100,
        cursor,
        ChangeFilter(
            subject=subject, unit_id=unit_id, consequences=bool(consequences), corrections_only=bool(corrections)
        ),
    )
    query = {name: [value] for name, value in request.query_params.items()}
    page = ChangesPage(
        changes=part.rows,
        addresses={change.id: address_of(change.subject, change.subject_id) for change in part.rows},
        subjects=(
            Choice("", "everything", not subject),
            *(Choice(each, words, each == subject) for each, words in _SUBJECTS.items()),
        ),
        units=(
            Choice("", "all units", unit_id is None),
            *(Choice(str(one), name, one == unit_id) for one, name in unit_names(session)),
        ),
        consequences=bool(consequences),
        corrections=bool(corrections),
        narrowed=bool(subject or unit or corrections or cursor),
        newest=cursor is None,
        newest_address=address("/changes", query, cursor=None),
        older_address=address("/changes", query, cursor=part.next_cursor) if part.next_cursor else "",
    )
    return render("pages/bench/changes.html", page)
