"""Registry of tables by name: how each is built from the query of its URL."""

from collections.abc import Callable
from dataclasses import replace
from typing import TypedDict

from sqlalchemy.orm import Session

from app.errors import InvalidValue, NotFound
from app.figures.tables.fact_sheet import fact_sheet_table
from app.figures.tables.ranking import ranking_table
from app.figures.tables.running_cost import running_cost_table
from app.figures.tables.table import ExportTable
from app.services.bench.chart_facts import read_chart_facts
from app.services.costs.running_cost import running_cost_view
from app.services.history.latest_data_date import POWER, PRICES, latest_data_date
from app.services.ranking.extra_columns import extra_facts
from app.services.ranking.table import rank_units
from app.services.reviews.unit_overview import trials_of_results, unit_overview
from app.services.snapshot.bench_snapshot import current_snapshot
from app.services.snapshot.choices import EXTRA_COLUMNS, RankingChoices
from app.web.forms.chart_choices import compare_choices, compared_setting_ids, cost_choices
from app.web.forms.ranking_form import ranking_choices
from app.web.forms.typed_form import TypedForm
from app.web.forms.unit_system import UnitSystem, unit_system
from app.web.pages.ranking.columns import picked_keys


def _ranking(session: Session, form: TypedForm) -> ExportTable:
    ranking, keys = rank_units(current_snapshot(session), ranking_choices(form)), picked_keys(form, {})
    extra = extra_facts(current_snapshot(session), ranking.lines) if set(keys or ()) & set(EXTRA_COLUMNS) else ()
    return ranking_table(ranking, read_chart_facts(session), keys=keys, extra=extra, **_flow(form))


def _comparison(session: Session, form: TypedForm) -> ExportTable:
    from app.figures.tables.comparison import comparison_table  # loaded when used: it needs scipy
    from app.services.ranking.comparison import compare_settings  # loaded when used: it needs scipy

    compared = compare_settings(current_snapshot(session), compared_setting_ids(session, form), compare_choices(form))
    return comparison_table(compared, read_chart_facts(session), **_flow(form))


def _fact_sheet(session: Session, form: TypedForm) -> ExportTable:
    unit_id = form.whole_number("unit", "The unit")
    if unit_id is None:
        raise InvalidValue("This table needs a unit; add ?unit= and its number to the URL.", field="unit")
    choices = RankingChoices(channel=form.text("channel"), room_id=form.whole_number("room_id", "The test room"))
    known = unit_overview(session, unit_id, choices)
    return fact_sheet_table(known, trials_of_results(session, known), read_chart_facts(session), **_flow(form))


def _running_cost(session: Session, form: TypedForm) -> ExportTable:
    view = running_cost_view(current_snapshot(session), cost_choices(form))
    ids = [cost.unit.row.unit_id for cost in view.costs]
    newest = latest_data_date(current_snapshot(session), (POWER, PRICES), ids)
    return replace(running_cost_table(view, read_chart_facts(session)), newest=newest)


class _Flow(TypedDict):
    flow_factor: float
    flow_symbol: str


def _flow(form: TypedForm) -> _Flow:
    system: UnitSystem = unit_system(form.typed("units"))
    return {"flow_factor": system.flow_factor, "flow_symbol": system.flow_symbol}


NAMED_TABLES: dict[str, Callable[[Session, TypedForm], ExportTable]] = {
    "ranking": _ranking,
    "comparison": _comparison,
    "fact-sheet": _fact_sheet,
    "running-cost": _running_cost,
}


def make_table(session: Session, name: str, form: TypedForm) -> ExportTable:
    """The table of that name. Raises NotFound for an unknown name, InvalidValue for an invalid query."""
    if name not in NAMED_TABLES:
        raise NotFound("table", name)
    table = NAMED_TABLES[name](session, form)
    if not form.is_good:
        field, message = next(iter(form.errors.items()))
        raise InvalidValue(message, field=field)
    return table
