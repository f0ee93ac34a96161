"""The page of one unit."""

from dataclasses import replace

from fastapi import Request
from starlette.responses import HTMLResponse

from app.errors import InvalidValue
from app.services.reviews.unit_overview import unit_overview
from app.services.reviews.verdicts import outdated_texts
from app.services.snapshot.choices import RankingChoices
from app.web.api.shapes import Id
from app.web.dependencies import RenderDep, SessionDep
from app.web.forms.addresses import address, query_form
from app.web.forms.unit_system import units_from_form
from app.web.pages.units.more import unit_more
from app.web.pages.units.view import unit_page
from app.web.routers import page_router

router = page_router()


@router.get("/units/{unit_id}")
def show_unit(unit_id: Id, request: Request, session: SessionDep, render: RenderDep) -> HTMLResponse:
    form = query_form(request.query_params)
    choices = RankingChoices(channel=form.text("channel"), room_id=form.whole_number("room_id", "The test room"))
    try:
        known = unit_overview(session, unit_id, choices)
    except InvalidValue as error:
        form.add_error(error.field or "", error.message)
        known = unit_overview(session, unit_id)
    system = units_from_form(form)
    page = replace(
        unit_page(known, form, system, unit_more(session, known, system)),
        outdated=outdated_texts(session, [unit_id]).get(unit_id),
        download_query=address("", form.values, unit=unit_id).lstrip("?"),
    )
    charts = page.has_curve or page.more.has_price_history or page.more.has_claims_chart
    return render("pages/units/page.html", page, status_code=200 if form.is_good else 422, charts=charts)
