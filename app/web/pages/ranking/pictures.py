"""Pictures of the ranking: rates with intervals, and times to clear with uncleared runs."""

from dataclasses import dataclass

from fastapi import Request
from starlette.responses import HTMLResponse

from app.errors import InvalidValue
from app.figures.charts.clearing_times import clearing_times_chart
from app.figures.charts.ranking_intervals import MOST_LINES, ranking_chart
from app.services.bench.chart_facts import read_chart_facts
from app.services.ranking.table import rank_units
from app.web.dependencies import RenderDep, SessionDep, SnapshotDep
from app.web.forms.addresses import address, query_form
from app.web.forms.ranking_form import ranking_choices
from app.web.forms.unit_system import units_from_form
from app.web.pages.ranking.sentences import answer
from app.web.routers import page_router
from app.web.templating.page_context import rows_class

router = page_router()
PATH = "/ranking/pictures"


@dataclass(frozen=True, slots=True)
class RankingPicturesPage:
    """Context of the pictures template; the texts are the findings of the pictures."""

    title: str
    answer: str
    is_empty: bool
    bench_is_empty: bool
    query: str
    rates_title: str
    rates_words: str
    times_title: str
    times_words: str
    size: str
    left_out: str
    ranking_address: str
    problems: tuple[str, ...]


@router.get(PATH)
def show_pictures(request: Request, session: SessionDep, snapshot: SnapshotDep, render: RenderDep) -> HTMLResponse:
    from app.services.ranking.rank_intervals import rank_view  # loaded when used: it needs scipy

    form = query_form(request.query_params)
    system = units_from_form(form)
    try:
        ranking = rank_units(snapshot, ranking_choices(form))
    except InvalidValue as error:
        form.add_error(error.field or "", error.message)
        ranking = rank_units(snapshot)
    query = address("", form.values).lstrip("?") if form.is_good else ""
    facts = read_chart_facts(session)
    rates = ranking_chart(
        ranking,
        facts,
        ranks=rank_view(snapshot, ranking.choices),
        flow_factor=system.flow_factor,
        flow_symbol=system.flow_symbol,
    )
    times = clearing_times_chart(ranking, facts)
    page = RankingPicturesPage(
        title="Ranking charts",
        answer=answer(ranking, system),
        is_empty=not ranking.lines,
        bench_is_empty=ranking.units_on_bench == 0,
        query=query,
        rates_words=rates.alt_text,
        rates_title=rates.title,
        times_title=times.title,
        times_words=times.alt_text,
        size=rows_class(min(len(ranking.lines), MOST_LINES)),
        left_out=f"Each chart shows the first {MOST_LINES} rows." if len(ranking.lines) > MOST_LINES else "",
        ranking_address=address("/", form.values),
        problems=tuple(form.problems),
    )
    return render("pages/ranking/pictures.html", page, status_code=200 if form.is_good else 422, charts=True)
