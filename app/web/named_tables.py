"""The list of tables that have a name and an address: how each is made from what the address asks for."""

from collections.abc import Callable
from dataclasses import replace

from sqlalchemy.orm import Session

from app.errors import InvalidValue, NotFound
from app.figures.fact_sheet_table import fact_sheet_table
from app.figures.ranking_table import ranking_table
from app.figures.running_cost_table import running_cost_table
from app.figures.taken_table import TakenTable
from app.services.chart_facts import read_chart_facts
from app.services.extra_columns import extra_facts
from app.services.newest_datum import POWER, PRICES, newest_datum
from app.services.ranking import rank_units
from app.services.ranking_choices import EXTRA_COLUMNS, RankingChoices
from app.services.running_cost_view import running_cost_view
from app.services.unit_page import unit_known
from app.web.chart_choices import compare_choices, compared_setting_ids, cost_choices
from app.web.pages.ranking_columns import picked_keys
from app.web.ranking_form import ranking_choices
from app.web.typed_form import TypedForm
from app.web.unit_system import UnitSystem, unit_system


def _ranking(session: Session, form: TypedForm) -> TakenTable:
    ranking, keys = rank_units(session, ranking_choices(form)), picked_keys(form, {})
    extra = extra_facts(session, ranking.lines) if set(keys or ()) & set(EXTRA_COLUMNS) else ()
    return ranking_table(ranking, read_chart_facts(session), keys=keys, extra=extra, **_flow(form))


def _comparison(session: Session, form: TypedForm) -> TakenTable:
    from app.figures.comparison_table import comparison_table  # loaded when used: it needs scipy
    from app.services.comparison import compare_settings  # loaded when used: it needs scipy

    compared = compare_settings(session, compared_setting_ids(session, form), compare_choices(form))
    return comparison_table(compared, read_chart_facts(session), **_flow(form))


def _fact_sheet(session: Session, form: TypedForm) -> TakenTable:
    unit_id = form.whole_number("unit", "The unit")
    if unit_id is None:
        raise InvalidValue("This table needs a unit; add ?unit= and its number to the address.", field="unit")
    choices = RankingChoices(channel=form.text("channel"), room_id=form.whole_number("room_id", "The test room"))
    return fact_sheet_table(unit_known(session, unit_id, choices), read_chart_facts(session), **_flow(form))


def _running_cost(session: Session, form: TypedForm) -> TakenTable:
    view = running_cost_view(session, cost_choices(form))
    ids = [cost.unit.row.unit_id for cost in view.costs]
    newest = newest_datum(session, (POWER, PRICES), ids)
    return replace(running_cost_table(view, read_chart_facts(session)), newest=newest)


def _flow(form: TypedForm) -> dict[str, float | str]:
    system: UnitSystem = unit_system(form.typed("units"))
    return {"flow_factor": system.flow_factor, "flow_symbol": system.flow_symbol}


NAMED_TABLES: dict[str, Callable[[Session, TypedForm], TakenTable]] = {
    "ranking": _ranking,
    "comparison": _comparison,
    "fact-sheet": _fact_sheet,
    "running-cost": _running_cost,
}


def make_table(session: Session, name: str, form: TypedForm) -> TakenTable:
    """The table of that name. Raises NotFound for an unknown name, InvalidValue for what the address got wrong."""
    if name not in NAMED_TABLES:
        raise NotFound("table", name)
    table = NAMED_TABLES[name](session, form)
    if not form.is_good:
        field, message = next(iter(form.errors.items()))
        raise InvalidValue(message, field=field)
    return table
