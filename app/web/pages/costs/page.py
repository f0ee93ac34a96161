"""Page of running cost and cost over years."""

from dataclasses import dataclass, replace
from heapq import nsmallest

from fastapi import Request
from starlette.responses import HTMLResponse

from app.compute.wording.numbers import amount_text, counted, measured_text
from app.compute.wording.rounding import rounded_text
from app.errors import HazefallError
from app.figures.charts.cost_bars import MOST_BARS, cost_text
from app.figures.charts.cost_over_years import over_years_text
from app.services.costs.choices import SETTING_CHOICES, OwningTerms
from app.services.costs.running_cost import RunningCostView, UnitCost, running_cost_view
from app.services.snapshot.bench_snapshot import BenchSnapshot
from app.services.units.entry import has_units
from app.web.dependencies import RenderDep, SessionDep, SnapshotDep
from app.web.forms.addresses import address, query_form
from app.web.forms.chart_choices import cost_choices
from app.web.forms.typed_form import TypedForm
from app.web.pages.cells import Cell
from app.web.pages.costs.consequences import Consequences, consequences
from app.web.routers import page_router
from app.web.templating.page_context import Choice, Column, PageLinks, rows_class

router = page_router()
PATH = "/costs"
_ROWS = 100
_UNITS_OFFERED = 60  # options besides the drawn units
_SETTING_WORDS = ("highest of each unit", "quietest of each unit", "quietest that is enough for the room")


@dataclass(frozen=True, slots=True)
class CostLine:
    """One unit as a line of the table."""

    unit_id: int
    maker: str
    model: str
    setting: str
    cells: tuple[Cell, ...]


@dataclass(frozen=True, slots=True)
class CostsPage:
    """Context of the costs page; without a tariff the parts of `view` are empty and the form asks for one."""

    title: str
    answer: str
    is_empty: bool
    shown: str
    removed: tuple[str, ...]
    columns: tuple[Column, ...]
    lines: tuple[CostLine, ...]
    links: PageLinks
    more: Consequences | None
    bars_words: str
    bars_size: str
    years_words: str
    chart_query: str
    conditions: str
    form: TypedForm
    tariffs: tuple[Choice, ...]
    settings: tuple[Choice, ...]
    kinds: tuple[Choice, ...]
    units: tuple[Choice, ...]
    units_not_offered: int
    hours_per_day: str
    days_per_year: str
    years: str
    currency: str


@router.get(PATH)
def show_costs(request: Request, session: SessionDep, snapshot: SnapshotDep, render: RenderDep) -> HTMLResponse:
    form = query_form(request.query_params)
    view = more = None
    try:
        view, drawn = running_cost_view(snapshot, cost_choices(form)), form.accepted
        more = consequences(view, _shown(view, form))
    except HazefallError as error:
        view, drawn = _without_mistakes(snapshot), {}
        more = consequences(view, _shown(view, form)) if view is not None else None
        if view is not None or form.values:  # otherwise no price is known, which the page says elsewhere
            form.add_error(error.field or "", error.message)
    page = _page(view, more, form, address("", drawn).lstrip("?"))
    if view is None and not has_units(session):
        page = replace(page, is_empty=True)
    asked_wrongly = bool(form.values) and not form.is_good
    return render("pages/costs/page.html", page, status_code=422 if asked_wrongly else 200, charts=bool(page.lines))


def _without_mistakes(snapshot: BenchSnapshot) -> RunningCostView | None:
    """Costs under the bench's own assumptions, shown beside form errors; None without a tariff."""
    try:
        return running_cost_view(snapshot)
    except HazefallError:
        return None


def _page(view: RunningCostView | None, more: Consequences | None, form: TypedForm, chart_query: str) -> CostsPage:
    if view is None or more is None:
        return _page_without_price(form)
    terms = view.terms
    currency = terms.assumptions.currency
    years = terms.choices.years
    first = _first(view, form)
    beyond = f" The chart shows the first {MOST_BARS}." if len(view.costs) > MOST_BARS else ""
    return CostsPage(
        title="Running cost",
        answer=cost_text(view),
        is_empty=view.units_on_bench == 0,
        shown=f"{len(view.costs)} of {counted(view.units_on_bench, 'unit')}",
        removed=(*view.removed, *((f"{len(view.left_out)}: {view.left_out[0].why}",) if view.left_out else ())),
        columns=_columns(view, form),
        lines=tuple(_line(cost, more) for cost in _shown(view, form)),
        links=_links(len(view.costs), first, form),
        more=more,
        bars_words="Energy and consumables for one year, without the purchase. An open marker means “at "
        f"least”.{beyond}",
        bars_size=rows_class(min(len(view.costs), MOST_BARS)),
        years_words=f"{over_years_text(view)} Each step is a replacement. {len(view.drawn)} of {len(view.costs)} "
        "units are shown; select others above.",
        chart_query=chart_query,
        conditions=f"Electricity at {terms.assumptions.price_per_kwh:g}\u00a0{currency}/kWh ({terms.tariff_words}) · "
        f"{terms.hours_per_day:g}\u00a0h per day{_quiet_text(terms)} · {terms.assumptions.days_per_year:g} "
        f"days per year · {terms.choices.setting} setting · {years} years",
        form=form,
        tariffs=(
            Choice("", "bench default", not form.text("tariff_id")),
            *(
                Choice(
                    str(tariff.id),
                    f"{tariff.region}, {tariff.price_per_kwh:g} {tariff.currency}/kWh",
                    form.text("tariff_id") == str(tariff.id),
                )
                for tariff in terms.tariffs
            ),
        ),
        settings=tuple(
            Choice(value, words, value == terms.choices.setting)
            for value, words in zip(SETTING_CHOICES, _SETTING_WORDS, strict=True)
        ),
        kinds=(
            Choice("", "all types", not view.choices.kind),
            *(Choice(kind, kind, kind == view.choices.kind) for kind in view.kinds),
        ),
        units=_units(view),
        units_not_offered=_not_offered(view),
        hours_per_day=f"{terms.hours_per_day:g}",
        days_per_year=f"{terms.assumptions.days_per_year:g}",
        years=str(years),
        currency=currency,
    )


def _first(view: RunningCostView, form: TypedForm) -> int:
    return min(max(form.whole_number("offset", "The first row") or 0, 0), len(view.costs))


def _shown(view: RunningCostView, form: TypedForm) -> tuple[UnitCost, ...]:
    first = _first(view, form)
    return view.costs[first : first + _ROWS]


def _links(total: int, first: int, form: TypedForm) -> PageLinks:
    after = min(first + _ROWS, total)
    return PageLinks(
        first=first + 1 if after > first else 0,
        last=after,
        total=total,
        previous_address=address(PATH, form.values, offset=max(0, first - _ROWS) or None) if first else "",
        next_address=address(PATH, form.values, offset=after) if after < total else "",
    )


def _quiet_text(terms: OwningTerms) -> str:
    hours = terms.choices.quiet_hours_per_day
    return f" and {hours:g}\u00a0h at its quietest" if hours else ""


def _units(view: RunningCostView) -> tuple[Choice, ...]:
    """The drawn units and further ones by name, up to a limit; a search finds the rest."""
    drawn = {cost.unit.row.unit_id for cost in view.drawn}
    others = [cost for cost in view.costs if cost.unit.row.unit_id not in drawn]
    offered = [*view.drawn, *nsmallest(_UNITS_OFFERED, others, key=lambda cost: cost.name.casefold())]
    return tuple(
        Choice(str(cost.unit.row.unit_id), cost.name, cost.unit.row.unit_id in drawn)
        for cost in sorted(offered, key=lambda cost: cost.name.casefold())
    )


def _not_offered(view: RunningCostView) -> int:
    return max(0, len(view.costs) - len(view.drawn) - _UNITS_OFFERED)


def _page_without_price(form: TypedForm) -> CostsPage:
    return CostsPage(
        title="Running cost",
        answer="",
        is_empty=False,
        shown="",
        removed=(),
        columns=(),
        lines=(),
        links=PageLinks(0, 0, 0),
        more=None,
        bars_words="",
        bars_size="",
        years_words="",
        chart_query="",
        conditions="",
        form=form,
        tariffs=(),
        settings=(),
        kinds=(),
        units=(),
        units_not_offered=0,
        hours_per_day=form.typed("hours_per_day", "24"),
        days_per_year=form.typed("days_per_year", "365"),
        years=form.typed("years", "5"),
        currency="",
    )


def _columns(view: RunningCostView, form: TypedForm) -> tuple[Column, ...]:
    currency, years = view.terms.assumptions.currency, view.terms.choices.years
    heads = (
        ("name", "Unit", ""),
        ("", "Power", "W"),
        ("energy", "Energy", f"{currency}/year"),
        ("consumables", "Filters and parts", f"{currency}/year"),
        ("cost_per_year", "Running cost", f"{currency}/year"),
        ("", "1,000\u00a0m³ of clean air", currency),
        ("price", "Price", currency),
        ("cost_over_years", f"Cost over {years} years", currency),
    )
    chosen = view.choices
    found = []
    for key, words, unit in heads:
        is_sorted = key == chosen.sort
        turned = "1" if is_sorted and not chosen.descending else None
        link = address(PATH, form.values, sort=key, descending=turned, offset=None) if key else ""
        direction = ("descending" if chosen.descending else "ascending") if is_sorted else ""
        found.append(Column(key, words, unit, link, direction))
    return tuple(found)


def _line(cost: UnitCost, more: Consequences) -> CostLine:
    row, per_year, over_years = cost.unit.row, cost.per_year, cost.over_years
    power = Cell("missing", reason="The power of this setting was not measured.")
    if row.power_w is not None:
        power = Cell("value", rounded_text(row.power_w, 1))
        if row.power_uncertainty_w:
            words = measured_text(row.power_w, row.power_uncertainty_w)
            power = Cell("value", words.value, f"± {words.uncertainty}")
    energy = _amount(per_year.energy_cost_per_year, per_year.energy_interval_95)
    if per_year.energy.at_least:
        energy = _bound(per_year.energy_cost_per_year, per_year.energy.missing)
    parts_missing = tuple(sentence for sentence in per_year.missing if sentence not in per_year.energy.missing)
    parts = _amount(per_year.consumables_cost_per_year, per_year.consumables_interval_95)
    if per_year.needs_no_consumables:
        parts = Cell("bound", "0", reason="Recorded: this unit needs no filters or other consumables.")
    elif parts_missing:
        parts = _bound(per_year.consumables_cost_per_year, parts_missing)
    total = _amount(per_year.total_per_year, per_year.interval_95)
    if per_year.at_least:
        total = _bound(per_year.total_per_year, per_year.missing)
    price = Cell("missing", reason=cost.unit.owned.price_missing_because + ".")
    if cost.unit.owned.purchase_price is not None:
        price = Cell("value", rounded_text(cost.unit.owned.purchase_price, 0))
    years = _amount(over_years.total, over_years.interval_95)
    if over_years.at_least:
        years = _bound(over_years.total, over_years.missing)
    clean_air = more.clean_air[row.unit_id]
    if per_year.at_least and clean_air.kind == "value":
        clean_air = Cell("bound", f"≥ {clean_air.text}", reason=f"At least: {' '.join(per_year.missing)}")
    cells = (power, energy, parts, total, clean_air, price, years)
    return CostLine(row.unit_id, row.maker, row.model, row.setting or "", cells)


def _amount(amount: float, interval: tuple[float, float]) -> Cell:
    """An amount above its 95 % interval; no interval if it is narrower than the last digit."""
    words = amount_text(amount, interval)
    return Cell("value", words.value, words.interval if words.low != words.high else "")


def _bound(amount: float, missing: tuple[str, ...]) -> Cell:
    if amount == 0:
        return Cell("missing", reason=" ".join(missing))
    return Cell("bound", f"≥ {amount_text(amount).value}", reason=f"At least: {' '.join(missing)}")
