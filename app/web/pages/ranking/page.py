"""The ranking page, which is the first page."""

from dataclasses import replace
from typing import TYPE_CHECKING

from fastapi import Request
from sqlalchemy import Engine
from starlette.responses import HTMLResponse

from app.errors import InvalidValue
from app.services.ranking.table import Ranking, rank_units
from app.services.snapshot.bench_snapshot import BenchSnapshot, current_snapshot
from app.services.snapshot.choices import MOST_ROWS
from app.web.dependencies import RenderDep, SnapshotDep, session_before_requests
from app.web.forms.addresses import query_form
from app.web.forms.ranking_form import ranking_choices
from app.web.forms.typed_form import TypedForm
from app.web.forms.unit_system import units_from_form
from app.web.pages.ranking.columns import COOKIE, folded_groups, picked_columns, picked_keys
from app.web.pages.ranking.rank_cells import MOST_RANKED_AT_ONCE, ranked_by
from app.web.pages.ranking.view import RankingPage, ranking_page
from app.web.routers import page_router
from app.web.templating.environment import render_page
from app.web.templating.page_context import read_shell

if TYPE_CHECKING:
    from app.services.ranking.rank_intervals import RankView

router = page_router()
_TEMPLATE = "pages/ranking/page.html"
_A_YEAR_S = 365 * 24 * 3600


@router.get("/")
def show_ranking(request: Request, snapshot: SnapshotDep, render: RenderDep) -> HTMLResponse:
    """Columns selected in the URL are remembered in a cookie; without any, the remembered ones are shown."""
    form = query_form(request.query_params)
    keys = picked_keys(form, request.cookies)
    page = _page(snapshot, form, keys, is_loaded=request.app.state.routes.all_loaded)
    response = render(_TEMPLATE, page, status_code=200 if form.is_good else 422)
    if "column" in form.values:
        remembered = ".".join(keys or ())
        response.set_cookie(COOKIE, remembered, max_age=_A_YEAR_S, httponly=True, samesite="lax")
    return response


def prepare_ranking(engine: Engine) -> None:
    """Writes the page that a new reader gets, so that what it is made from is read and its templates are loaded."""
    with session_before_requests(engine) as session:
        form = TypedForm()
        page = _page(current_snapshot(session), form, picked_keys(form, {}), is_loaded=False)
        render_page(_TEMPLATE, page, read_shell(session, "/"))


def _page(snapshot: BenchSnapshot, form: TypedForm, keys: tuple[str, ...] | None, *, is_loaded: bool) -> RankingPage:
    """keys : the columns; is_loaded : all of the program is"""
    choices = ranking_choices(form)
    try:
        ranking = rank_units(snapshot, choices)
    except InvalidValue as error:
        form.add_error(error.field or "", error.message)
        ranking = rank_units(snapshot)
    system = units_from_form(form)
    picked = picked_columns(snapshot, ranking, keys, system, folded_groups(form))
    view = _rank_view(snapshot, ranking, is_asked=form.text("ranks") == "1", is_loaded=is_loaded)
    return ranking_page(ranking, form, system, picked, keys, snapshot, view)


def _rank_view(snapshot: BenchSnapshot, ranking: Ranking, *, is_asked: bool, is_loaded: bool) -> "RankView | None":
    """Rank intervals of the lines, where they do not hold up the page.

    A large bench takes longer to rank than to show, and a process that has just started has not loaded the library
    for it; the page then has the address that does it (`ranks=1`), for its script and as a link.
    """
    total = ranking.total_lines
    if not 0 < total <= MOST_ROWS or not (is_asked or (is_loaded and total <= MOST_RANKED_AT_ONCE)):
        return None
    from app.services.ranking.rank_intervals import rank_view  # loaded when used: it needs scipy

    return rank_view(snapshot, replace(ranking.choices, limit=MOST_ROWS, offset=0), by=ranked_by(ranking))
