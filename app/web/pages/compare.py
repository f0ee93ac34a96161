"""Two to eight settings side by side, and the choice of them."""

from fastapi import APIRouter, Request
from sqlalchemy.orm import Session
from starlette.responses import HTMLResponse

from app.errors import HazefallError
from app.services.kept_rankings import KeptRankings
from app.services.ranking import Ranking, rank
from app.services.ranking_choices import EVERY, RankingChoices
from app.web.addresses import query_form
from app.web.dependencies import KeptRankingsDep, RenderDep, SessionDep
from app.web.typed_form import TypedForm
from app.web.unit_system import unit_system

router = APIRouter()
PATH = "/compare"
MOST_OFFERED = 200


@router.get(PATH)
def show_comparison(request: Request, session: SessionDep, kept: KeptRankingsDep, render: RenderDep) -> HTMLResponse:
    from app.services.comparison import FEWEST, compare_settings  # loaded when used: it needs scipy
    from app.web.pages.compare_view import compare_page  # loaded when used: with the service

    form = query_form(request.query_params)
    choices = _choices(form)
    setting_ids = _setting_ids(session, form)
    compared = None
    if len(setting_ids) >= FEWEST and form.is_good:
        try:
            compared = compare_settings(session, setting_ids, choices)
        except HazefallError as error:
            form.refuse(error.field or "setting_id", error.message)
    offered = _offered(kept, form, choices)
    page = compare_page(compared, offered, setting_ids, form, unit_system(form.typed("units")))
    return render("pages/compare.html", page, status_code=200 if form.is_good else 422, charts=bool(page.chart_query))


def _choices(form: TypedForm) -> RankingChoices:
    return RankingChoices(
        channel=form.text("channel"),
        aerosol=form.text("aerosol") or "smoke",
        room_id=form.whole_number("room_id", "The test room"),
    )


def _setting_ids(session: Session, form: TypedForm) -> tuple[int, ...]:
    """The settings asked for, those of `first` first; a unit stands for its highest setting."""
    from app.services.comparison import highest_settings  # loaded when used: it needs scipy

    asked = _numbers(form, "setting_id", "A setting")
    units = _numbers(form, "unit_id", "A unit")
    if units:
        try:
            asked += [setting_id for setting_id in highest_settings(session, units) if setting_id not in asked]
        except HazefallError as error:
            form.refuse("unit_id", error.message)
    first = form.whole_number("first", "The setting to hold the others against")
    if first in asked:
        asked = [first, *(setting_id for setting_id in asked if setting_id != first)]
    return tuple(asked)


def _numbers(form: TypedForm, name: str, what: str) -> list[int]:
    found = []
    for text in ",".join(form.values.get(name, [])).split(","):
        if not text.strip():
            continue
        if not text.strip().isdecimal() or len(text.strip()) > 12:
            form.refuse(name, f"{what}: found {text[:40]!r}; a whole number is needed. Correct the address.")
            continue
        found.append(int(text))
    return found


def _offered(kept: KeptRankings, form: TypedForm, choices: RankingChoices) -> Ranking:
    """Settings to choose from, by name, narrowed by the search."""
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
        return rank(kept.table(asked), asked)
    except HazefallError as error:
        form.refuse(error.field or "", error.message)
        anything = RankingChoices(setting=EVERY, sort="name", limit=MOST_OFFERED)
        return rank(kept.table(anything), anything)
