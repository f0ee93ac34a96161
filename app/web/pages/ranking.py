"""The ranking: the first page."""

from fastapi import APIRouter, Request
from starlette.responses import HTMLResponse

from app.errors import InvalidValue
from app.services.ranking import rank
from app.services.ranking_choices import RankingChoices
from app.web.addresses import query_form
from app.web.chart_choices import ranking_choices
from app.web.dependencies import KeptRankingsDep, RenderDep
from app.web.pages.ranking_view import ranking_page
from app.web.unit_system import unit_system

router = APIRouter()


@router.get("/")
def show_ranking(request: Request, kept: KeptRankingsDep, render: RenderDep) -> HTMLResponse:
    form = query_form(request.query_params)
    choices = ranking_choices(form)
    try:
        ranking = rank(kept.table(choices), choices)
    except InvalidValue as error:
        form.refuse(error.field or "", error.message)
        ranking = rank(kept.table(RankingChoices()), RankingChoices())
    page = ranking_page(ranking, form, unit_system(form.typed("units")))
    return render("pages/ranking.html", page, status_code=200 if form.is_good else 422)
