"""List of units."""

from collections.abc import Mapping
from dataclasses import dataclass

from fastapi import Request
from starlette.responses import HTMLResponse

from app.compute.wording.numbers import counted, money
from app.services.reviews.verdicts import OutdatedText, outdated_texts
from app.services.snapshot.bench_snapshot import current_snapshot
from app.services.units.list import ListedUnit, UnitsList, list_units
from app.web.dependencies import RenderDep, SessionDep
from app.web.forms.addresses import address, query_form
from app.web.forms.typed_form import TypedForm
from app.web.routers import page_router
from app.web.templating.page_context import Choice, PageLinks

router = page_router()
_ROWS = 100


@dataclass(frozen=True, slots=True)
class UnitLine:
    """One unit of the list."""

    id: int
    maker: str
    model: str
    kind: str
    settings: str
    trials: int
    last_trial_on: str
    price: str
    text_words: str


@dataclass(frozen=True, slots=True)
class UnitsPage:
    """Context of the list template."""

    title: str
    answer: str
    is_empty: bool
    lines: tuple[UnitLine, ...]
    total: int
    kinds: tuple[Choice, ...]
    trashed: bool
    in_trash: int
    links: PageLinks
    form: TypedForm


@router.get("/units")
def show_units(request: Request, session: SessionDep, render: RenderDep) -> HTMLResponse:
    form = query_form(request.query_params)
    offset = form.whole_number("offset", "The first row") or 0
    trashed = form.typed("state") == "trashed"
    units = list_units(
        current_snapshot(session),
        search=form.text("search"),
        kind=form.text("kind"),
        trashed=trashed,
        limit=_ROWS,
        offset=max(offset, 0),
    )
    outdated = outdated_texts(session, [unit.id for unit in units.units])
    page = _list_page(units, form, max(offset, 0), trashed, outdated)
    return render("pages/units/list.html", page, status_code=200 if form.is_good else 422)


def _list_page(
    units: UnitsList, form: TypedForm, offset: int, trashed: bool, outdated: Mapping[int, OutdatedText]
) -> UnitsPage:
    after = offset + len(units.units)
    waiting = units.on_bench - units.tested
    answer = f"{counted(units.on_bench, 'unit')}, {units.tested} with a trial"
    answer += f"; {waiting} not tested yet." if waiting else "."
    return UnitsPage(
        title="Units",
        answer=answer,
        is_empty=units.on_bench == 0 and units.in_trash == 0,
        lines=tuple(_line(unit, outdated.get(unit.id)) for unit in units.units),
        total=units.total,
        kinds=(
            Choice("", "all types", not form.text("kind")),
            *(Choice(kind, kind, kind == form.text("kind")) for kind in units.kinds),
        ),
        trashed=trashed,
        in_trash=units.in_trash,
        links=PageLinks(
            first=offset + 1 if units.units else 0,
            last=after,
            total=units.total,
            previous_address=address("/units", form.values, offset=max(0, offset - _ROWS) or None) if offset else "",
            next_address=address("/units", form.values, offset=after) if after < units.total else "",
        ),
        form=form,
    )


def _line(unit: ListedUnit, outdated: OutdatedText | None) -> UnitLine:
    return UnitLine(
        unit.id,
        unit.maker,
        unit.model,
        unit.kind,
        ", ".join(unit.settings),
        unit.trials,
        unit.last_trial_on.isoformat() if unit.last_trial_on else "",
        money(unit.price, unit.price_currency) if unit.price is not None else "",
        " ".join(change.sentence for change in outdated.changes) if outdated else "",
    )
