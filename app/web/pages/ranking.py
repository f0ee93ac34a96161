"""The ranking: the first page."""

from fastapi import APIRouter, Request
from starlette.responses import HTMLResponse

from app.compute.conversions import M2_PER_SQUARE_FOOT
from app.errors import InvalidValue
from app.services.ranking import rank_units
from app.services.ranking_choices import DEFAULT_ROWS, HIGHEST, RULE_CEILING_M, RankingChoices
from app.web.addresses import query_form
from app.web.dependencies import RenderDep, SessionDep
from app.web.pages.ranking_view import ranking_page
from app.web.typed_form import TypedForm
from app.web.unit_system import unit_system

router = APIRouter()


@router.get("/")
def show_ranking(request: Request, session: SessionDep, render: RenderDep) -> HTMLResponse:
    form = query_form(request.query_params)
    choices = ranking_choices(form)
    try:
        ranking = rank_units(session, choices)
    except InvalidValue as error:
        form.refuse(error.field or "", error.message)
        ranking = rank_units(session)
    page = ranking_page(ranking, form, unit_system(form.typed("units")))
    return render("pages/ranking.html", page, status_code=200 if form.is_good else 422)


def ranking_choices(form: TypedForm) -> RankingChoices:
    """The choices that an address makes; what cannot be read is noted in the form and left at its default."""
    descending = form.typed("descending")
    return RankingChoices(
        setting=form.text("setting") or HIGHEST,
        channel=form.text("channel"),
        aerosol=form.text("aerosol") or "smoke",
        room_id=form.whole_number("room_id", "The test room"),
        search=form.text("search"),
        kind=form.text("kind"),
        max_price=form.number("max_price", "The highest price"),
        max_sound_dba=form.number("max_sound_dba", "The sound ceiling"),
        room_area_m2=_area_m2(form),
        room_height_m=_or(form.number("room_height_m", "The height of the room"), RULE_CEILING_M),
        room_rule=form.text("room_rule") or "1.55 rule",
        air_changes_per_h=_or(form.number("air_changes_per_h", "The air changes"), 5.0),
        hours_per_day=form.number("hours_per_day", "The hours per day"),
        price_per_kwh=form.number("price_per_kwh", "The price of a kilowatt-hour"),
        sort=form.text("sort") or "clean_air_delivery_rate",
        descending=None if descending == "" else descending == "1",
        limit=form.whole_number("limit", "The number of lines") or DEFAULT_ROWS,
        offset=form.whole_number("offset", "The first line") or 0,
    )


def _area_m2(form: TypedForm) -> float | None:
    in_feet = form.number("room_area_ft2", "The floor of the room")
    in_metres = form.number("room_area_m2", "The floor of the room")
    return in_metres if in_feet is None else in_feet * M2_PER_SQUARE_FOOT


def _or(value: float | None, default: float) -> float:
    return default if value is None else value
