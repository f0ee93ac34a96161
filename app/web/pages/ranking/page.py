"""The ranking page, which is the first page."""

from fastapi import APIRouter, Request
from starlette.responses import HTMLResponse

from app.errors import InvalidValue
from app.services.ranking.table import rank_units
from app.web.dependencies import RenderDep, SnapshotDep
from app.web.forms.addresses import query_form
from app.web.forms.ranking_form import ranking_choices
from app.web.forms.unit_system import units_from_form
from app.web.pages.ranking.columns import COOKIE, picked_columns, picked_keys
from app.web.pages.ranking.view import ranking_page

router = APIRouter()
_A_YEAR_S = 365 * 24 * 3600


@router.get("/")
def show_ranking(request: Request, snapshot: SnapshotDep, render: RenderDep) -> HTMLResponse:
    """Columns selected in the URL are remembered in a cookie; without any, the remembered ones are shown."""
    form = query_form(request.query_params)
    choices = ranking_choices(form)
    try:
        ranking = rank_units(snapshot, choices)
    except InvalidValue as error:
        form.add_error(error.field or "", error.message)
        ranking = rank_units(snapshot)
    system = units_from_form(form)
    keys = picked_keys(form, request.cookies)
    page = ranking_page(ranking, form, system, picked_columns(snapshot, ranking, keys, system), keys, snapshot)
    response = render("pages/ranking/page.html", page, status_code=200 if form.is_good else 422)
    if "column" in form.values:
        remembered = ".".join(keys or ())
        response.set_cookie(COOKIE, remembered, max_age=_A_YEAR_S, httponly=True, samesite="lax")
    return response
