"""Search page, with recent changes."""

from dataclasses import dataclass

from fastapi import Request
from starlette.responses import HTMLResponse

from app.compute.wording.numbers import counted, listed
from app.errors import InvalidValue
from app.services.bench.search import FoundKind, search_bench
from app.services.history.change_history import ChangeFilter, DescribedChange, described_changes
from app.web.dependencies import RenderDep, SessionDep
from app.web.forms.addresses import query_form
from app.web.forms.typed_form import TypedForm
from app.web.pages.bench.changes import address_of
from app.web.routers import page_router

router = page_router()
_RECENT = 15


@dataclass(frozen=True, slots=True)
class SearchPage:
    """`recent` are recent changes with their URLs, shown below the results."""

    title: str
    answer: str
    asked: str
    found: tuple[FoundKind, ...]
    recent: tuple[tuple[DescribedChange, str], ...]
    form: TypedForm


@router.get("/search")
def search(request: Request, session: SessionDep, render: RenderDep) -> HTMLResponse:
    form = query_form(request.query_params)
    asked = form.text("q")
    found: tuple[FoundKind, ...] = ()
    try:
        found = search_bench(session, asked)
    except InvalidValue as error:
        form.add_error("q", error.message)
    recent = described_changes(session, _RECENT, wanted=ChangeFilter(consequences=False)).rows
    page = SearchPage(
        title=f"Search results for “{asked[:60]}”" if asked else "Search",
        answer=_answer(asked, found),
        asked=asked[:200],
        found=found,
        recent=tuple((change, address_of(change.subject, change.subject_id)) for change in recent),
        form=form,
    )
    return render("pages/bench/search.html", page, status_code=200 if form.is_good else 422)


def _answer(asked: str, found: tuple[FoundKind, ...]) -> str:
    if not asked:
        return "Searches units, trials, claims, certified rates, notes and changes. Results contain every word."
    if not found:
        return "Nothing found with all of these words. Use fewer words, or part of a word."
    parts = [f"{'more than ' if kind.more else ''}{counted(len(kind.things), kind.noun)}" for kind in found]
    return f"Found: {listed(parts)}."
