"""Page of rank intervals and statistical ties."""

from collections.abc import Mapping
from dataclasses import dataclass

from fastapi import Request
from starlette.responses import HTMLResponse

from app.compute.comparison.joint_pairs import MOST_DRAWN
from app.compute.wording.numbers import counted, listed
from app.compute.wording.rounding import rounded_text
from app.errors import InvalidValue
from app.services.ranking.rank_intervals import (
    CLEAN_AIR,
    CLEARING_TIME,
    POWER,
    RUNNING_COST,
    SOUND,
    LineRank,
    RankView,
    rank_view,
)
from app.services.snapshot.choices import RankingChoices
from app.web.dependencies import RenderDep, SnapshotDep
from app.web.forms.addresses import address, links_of, query_form
from app.web.forms.ranking_form import ranking_choices
from app.web.forms.typed_form import TypedForm
from app.web.forms.unit_system import UnitSystem, units_from_form
from app.web.pages.cells import CELL_OF, Bar, Cell, Scales
from app.web.pages.ranking.sentences import conditions
from app.web.routers import page_router
from app.web.templating.page_context import PageLinks, Switch

router = page_router()
PATH = "/ranking/order"

_QUANTITIES = {
    CLEAN_AIR: "clean air delivery rate",
    CLEARING_TIME: "time to 95\u00a0% reduction",
    SOUND: "sound level",
    POWER: "power",
    RUNNING_COST: "running cost",
}


@dataclass(frozen=True, slots=True)
class RankLine:
    """One line: its rank and rank interval, drawn on the scale of all ranks."""

    unit_id: int
    maker: str
    model: str
    setting: str
    place: str
    ranks: str
    bar: Bar
    cell: Cell
    alike: str


@dataclass(frozen=True, slots=True)
class RankOrderPage:
    """Context of the rank order template."""

    title: str
    answer: str
    is_empty: bool
    quantity: str
    unit_symbol: str
    lines: tuple[RankLine, ...]
    links: PageLinks
    groups: tuple[str, ...]
    without_value: str
    removed: tuple[str, ...]
    conditions: tuple[str, ...]
    switches: tuple[Switch, ...]
    ranking_address: str
    form: TypedForm
    most_drawn: int = MOST_DRAWN


@router.get(PATH)
def show_rank_order(request: Request, snapshot: SnapshotDep, render: RenderDep) -> HTMLResponse:
    form = query_form(request.query_params)
    choices = ranking_choices(form)
    try:
        view = rank_view(snapshot, choices, by=form.text("by") or CLEAN_AIR)
    except InvalidValue as error:
        form.add_error(error.field or "", error.message)
        choices = RankingChoices()
        view = rank_view(snapshot)
    page = _page(view, choices, form, units_from_form(form))
    return render("pages/ranking/order.html", page, status_code=200 if form.is_good else 422)


def _page(view: RankView, choices: RankingChoices, form: TypedForm, system: UnitSystem) -> RankOrderPage:
    ranking = view.ranking
    names = view.names
    words = _QUANTITIES[view.by]
    shown = view.lines[choices.offset : choices.offset + choices.limit]
    symbols = {
        CLEAN_AIR: system.flow_symbol,
        CLEARING_TIME: "min",
        SOUND: "dB(A)",
        POWER: "W",
        RUNNING_COST: f"{ranking.offered.currency}/year",
    }
    scales = Scales(
        system, ranking.room, ranking.choices.channel, ranking.offered.currency, ranking.highest_rate_m3_per_h, 0.0
    )
    return RankOrderPage(
        title="Rank uncertainty",
        answer=_answer(view, names),
        is_empty=ranking.units_on_bench == 0,
        quantity=words,
        unit_symbol=symbols[view.by],
        lines=tuple(_line(one, len(view.lines), CELL_OF[view.by](one.line, scales)) for one in shown),
        links=links_of(PATH, form, first=choices.offset, limit=choices.limit, total=len(view.lines)),
        # groups that begin among the lines shown: a bench of a thousand units has hundreds
        groups=tuple(
            listed([names[one.row.key] for one in group])
            for group in view.groups
            if choices.offset < (group[0].row.place or 0) <= choices.offset + choices.limit
        ),
        without_value=_without_value(view, words),
        removed=tuple(f"{removed.units} {removed.why}" for removed in ranking.removed),
        conditions=conditions(ranking, system),
        switches=(
            Switch(
                "Rank by",
                tuple(
                    (said, address(PATH, form.values, by=None if key == CLEAN_AIR else key), key == view.by)
                    for key, said in _QUANTITIES.items()
                ),
            ),
        ),
        ranking_address=address("/", form.values, by=None),
        form=form,
    )


def _answer(view: RankView, names: Mapping[int, str]) -> str:
    measured = view.measured
    if not measured:
        return "No unit has this quantity yet, so there are no ranks to show."
    first = measured[0]
    alike = [names[key] for key in view.ranks.like(first.row.key)]
    lead = f"{names[first.row.key]} ranks first"
    lead += f", in a statistical tie with {listed(alike)}" if alike else ", ahead of every other"
    if len(measured) == 1:
        return f"{names[first.row.key]} is the only one with this quantity."
    return f"{lead}. {view.certain_ranks} of {counted(len(measured), 'rank')} are certain."


def _line(one: LineRank, last: int, cell: Cell) -> RankLine:
    row, ranked = one.line.row, one.row
    low, high = ranked.rank_low_95, ranked.rank_high_95
    # ranks on a scale of 0 to 100, the first rank at its left end
    step = 100 / max(last - 1, 1)
    left, right = (low - 1) * step, (high - 1) * step
    ranks = f"{low}" if low == high else f"{low} to {high}"
    return RankLine(
        unit_id=row.unit_id,
        maker=row.maker,
        model=row.model,
        setting=row.setting or "",
        place="–" if ranked.place is None else str(ranked.place),
        ranks=ranks,
        bar=Bar(
            round(left, 1),
            round(max(right - left, 1.5), 1),
            None if ranked.place is None else round((ranked.place - 1) * step, 1),
            False,
            f"rank {ranks} of {last}",
        ),
        cell=cell,
        alike="cannot be distinguished from zero"
        if ranked.place is None
        else rounded_text(ranked.not_told_apart_from, 0),
    )


def _without_value(view: RankView, words: str) -> str:
    number = len(view.without_value)
    return f"{counted(number, 'row')} without a {words}, so not ranked." if number else ""
