"""Comparison of two to eight settings, and their selection."""

from fastapi import Request
from starlette.responses import HTMLResponse

from app.errors import HazefallError
from app.services.ranking.table import Ranking, rank_units
from app.services.snapshot.bench_snapshot import BenchSnapshot
from app.services.snapshot.choices import EVERY, RankingChoices
from app.web.dependencies import RenderDep, SessionDep, SnapshotDep
from app.web.forms.addresses import query_form
from app.web.forms.chart_choices import compare_choices, compared_setting_ids
from app.web.forms.typed_form import TypedForm
from app.web.forms.unit_system import units_from_form
from app.web.routers import page_router

router = page_router()
PATH = "/compare"
MOST_OFFERED = 200


@router.get(PATH)
def show_comparison(request: Request, session: SessionDep, snapshot: SnapshotDep, render: RenderDep) -> HTMLResponse:
    from app.services.ranking.comparison import FEWEST, compare_settings  # loaded when used: it needs scipy
    from app.web.pages.ranking.compare_view import compare_page  # loaded when used: with the service

    form = query_form(request.query_params)
    choices = compare_choices(form)
    setting_ids = compared_setting_ids(session, form)
    compared = None
    if len(setting_ids) >= FEWEST and form.is_good:
        try:
            compared = compare_settings(snapshot, setting_ids, choices)
        except HazefallError as error:
            form.add_error(error.field or "setting_id", error.message)
    offered = _offered(snapshot, form, choices)
    page = compare_page(compared, offered, setting_ids, form, units_from_form(form))
    return render(
        "pages/ranking/compare.html", page, status_code=200 if form.is_good else 422, charts=bool(page.chart_query)
    )


def _offered(snapshot: BenchSnapshot, form: TypedForm, choices: RankingChoices) -> Ranking:
    """Settings to choose from, by name, filtered by the search."""
    asked = RankingChoices(
        setting=EVERY,
        channel=choices.channel,
        aerosol=choices.aerosol,
        room_id=choices.room_id,
        search=form.text("search"),
        sort="name",
        limit=MOST_OFFERED,
    )
    try:
        return rank_units(snapshot, asked)
    except HazefallError as error:
        form.add_error(error.field or "", error.message)
        return rank_units(snapshot, RankingChoices(setting=EVERY, sort="name", limit=MOST_OFFERED))
