"""Page of the weighted ranking; the weights are in the URL and not stored."""

from dataclasses import dataclass

from fastapi import Request
from starlette.responses import HTMLResponse

from app.compute.comparison.weighted_order import NORMALISATION, WeightedRow
from app.compute.wording.numbers import listed
from app.compute.wording.rounding import rounded_text
from app.errors import InvalidValue
from app.services.ranking.table import RankedSetting
from app.services.ranking.weighted_ranking import WEIGHABLES, ReadersOrder, readers_order
from app.services.snapshot.choices import RankingChoices
from app.web.dependencies import RenderDep, SnapshotDep
from app.web.forms.addresses import links_of, query_form
from app.web.forms.ranking_form import ranking_choices
from app.web.forms.typed_form import TypedForm
from app.web.forms.unit_system import UnitSystem, units_from_form
from app.web.pages.cells import CELL_OF, Cell, Scales
from app.web.pages.ranking.sentences import conditions
from app.web.pages.ranking.view import units_switch
from app.web.routers import page_router
from app.web.templating.page_context import PageLinks, Switch

router = page_router()
PATH = "/ranking/weights"
PREFIX = "weight_"
_WEIGHED = {weighable.key for weighable in WEIGHABLES}


@dataclass(frozen=True, slots=True)
class WeightField:
    """Field of one weight: its name in the URL, its typed text, and its share of all weights."""

    name: str
    words: str
    typed: str
    error: str
    share: str


@dataclass(frozen=True, slots=True)
class MovedHead:
    """One change of one weight, as a column header."""

    quantity: str
    change: str


@dataclass(frozen=True, slots=True)
class OrderLine:
    """One unit: its rank, the weighted values, and its rank with each weight changed."""

    unit_id: int
    maker: str
    model: str
    setting: str
    place: int
    places_between: str
    cells: tuple[Cell, ...]
    moved: tuple[tuple[int, bool], ...]  # rank, and whether it differs


@dataclass(frozen=True, slots=True)
class WeightsPage:
    """Context of the weighted ranking template."""

    title: str
    answer: str
    is_empty: bool
    fields: tuple[WeightField, ...]
    heads: tuple[tuple[str, str], ...]  # label and unit of each weighted quantity
    moved_heads: tuple[MovedHead, ...]
    lines: tuple[OrderLine, ...]
    links: PageLinks
    without_place: tuple[str, ...]
    normalisation: str
    conditions: tuple[str, ...]
    removed: tuple[str, ...]
    switches: tuple[Switch, ...]
    kept: tuple[tuple[str, str], ...]
    problems: tuple[str, ...]  # errors that belong to no field of this page


@router.get(PATH)
def show_weights(request: Request, snapshot: SnapshotDep, render: RenderDep) -> HTMLResponse:
    form = query_form(request.query_params)
    choices = ranking_choices(form)
    weights = _weights(form)
    try:
        ordered = readers_order(snapshot, weights, choices)
    except InvalidValue as error:
        field = error.field or ""
        form.add_error(PREFIX + field if field in _WEIGHED else field, error.message)
        choices = RankingChoices()
        ordered = readers_order(snapshot, {})
    page = _page(ordered, choices, form, units_from_form(form))
    return render("pages/ranking/weighted_order.html", page, status_code=200 if form.is_good else 422)


def _weights(form: TypedForm) -> dict[str, float]:
    found = {}
    for weighable in WEIGHABLES:
        weight = form.number(PREFIX + weighable.key, f"The weight of {weighable.words.lower()}")
        if weight is not None:
            found[weighable.key] = weight
    return found


def _page(ordered: ReadersOrder, choices: RankingChoices, form: TypedForm, system: UnitSystem) -> WeightsPage:
    ranking, order = ordered.ranking, ordered.order
    currency = ranking.offered.currency
    symbols = {
        "clean_air_delivery_rate": system.flow_symbol,
        "sound": "dB(A)",
        "power": "W",
        "price": currency,
        "running_cost": f"{currency}/year",
    }
    weighed = [weighable for weighable in WEIGHABLES if ordered.weights[weighable.key] > 0]
    scales = Scales(system, ranking.room, ranking.choices.channel, currency, ranking.highest_rate_m3_per_h, 0.0)
    begin, end = choices.offset, choices.offset + choices.limit
    rows = order.rows[begin:end] if order else ()
    weight_names = {PREFIX + weighable.key for weighable in WEIGHABLES}
    return WeightsPage(
        title="Weighted ranking",
        answer=_answer(ordered),
        is_empty=ranking.units_on_bench == 0,
        fields=tuple(_field(weighable.key, weighable.words, ordered, form) for weighable in WEIGHABLES),
        heads=tuple((weighable.words, symbols[weighable.key]) for weighable in weighed),
        moved_heads=tuple(MovedHead(move.quantity, move.change) for move in order.movements) if order else (),
        lines=tuple(
            _line(
                row,
                ordered.lines[row.key],
                tuple(CELL_OF[one.key](ordered.lines[row.key], scales) for one in weighed),
                tuple(move.places[number] for move in (order.movements if order else ())),
            )
            for number, row in enumerate(rows, start=begin)
        ),
        links=links_of(PATH, form, first=begin, limit=choices.limit, total=len(order.rows) if order else 0),
        without_place=_without_place(ordered),
        normalisation=NORMALISATION,
        conditions=conditions(ranking, system),
        removed=tuple(f"{removed.units} {removed.why}" for removed in ranking.removed),
        switches=(units_switch(PATH, form, system),),
        kept=tuple(
            (name, text)
            for name, texts in form.values.items()
            for text in texts
            if text and name not in weight_names and name != "offset"
        ),
        problems=tuple(message for name, message in form.errors.items() if name not in weight_names),
    )


def _answer(ordered: ReadersOrder) -> str:
    order = ordered.order
    if order is None:
        return (
            "Choose what matters to you: enter one or more weights below. There are no default weights; yours are "
            "stored only in the URL of this page."
        )
    if not order.rows:
        return "No unit has all the quantities that you weighted."
    first = [row for row in order.rows if row.place == 1]
    names = listed([_name(ordered.lines[row.key]) for row in first])
    stays = len(first) == 1 and first[0].lowest_place == 1
    if len(order.rows) == 1:
        return f"{names} is the only unit with all the quantities that you weighted."
    moves = (
        "and stays first with each weight halved, doubled or set to zero"
        if stays
        else f"but falls as far as rank {max(row.lowest_place for row in first)} when one weight is changed"
    )
    return f"By your weights, {names} {'ranks' if len(first) == 1 else 'rank'} first, {moves}."


def _name(line: RankedSetting) -> str:
    return f"{line.row.maker} {line.row.model}"


def _field(key: str, words: str, ordered: ReadersOrder, form: TypedForm) -> WeightField:
    total = sum(ordered.weights.values())
    weight = ordered.weights[key]
    return WeightField(
        name=PREFIX + key,
        words=words,
        typed=form.typed(PREFIX + key),
        error=form.error(PREFIX + key),
        share=f"{rounded_text(100 * weight / total, 0)}\u00a0% of all weights" if weight else "",
    )


def _line(row: WeightedRow, line: RankedSetting, cells: tuple[Cell, ...], moved: tuple[int, ...]) -> OrderLine:
    between = f"{row.highest_place} to {row.lowest_place}"
    return OrderLine(
        unit_id=line.row.unit_id,
        maker=line.row.maker,
        model=line.row.model,
        setting=line.row.setting or "",
        place=row.place,
        places_between=str(row.place) if row.highest_place == row.lowest_place else between,
        cells=cells,
        moved=tuple((place, place != row.place) for place in moved),
    )


def _without_place(ordered: ReadersOrder) -> tuple[str, ...]:
    if ordered.order is None:
        return ()
    return tuple(
        f"{_name(ordered.lines[key])}: no usable {listed([name.lower() for name in lacking])}"
        for key, lacking in ordered.order.without_place
    )
