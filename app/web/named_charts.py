"""The list of charts that have a name and an address: how each is made from what the address asks for.

A new chart is one function here and one line in `NAMED_CHARTS`; drawing, tables and addresses follow from that.
"""

from collections.abc import Callable

from sqlalchemy.orm import Session

from app.errors import InvalidValue, NotFound
from app.figures.chart import Chart
from app.figures.claims_measured import claims_chart
from app.figures.clearing_times import clearing_times_chart
from app.figures.cost_bars import cost_bars_chart
from app.figures.cost_over_years import cost_over_years_chart
from app.figures.cost_sensitivity import cost_sensitivity_chart
from app.figures.decay_overlay import decay_overlay_chart
from app.figures.frontier import frontier_chart
from app.figures.price_history import price_history_chart
from app.figures.ranking_intervals import ranking_chart
from app.figures.sound_spectra import sound_spectra_chart
from app.figures.trial_decay import residuals_chart, trial_decay_chart
from app.reading_files.channels import channel
from app.services.chart_facts import read_chart_facts
from app.services.claims import claims_of_unit
from app.services.cost_of_owning import cost_of_owning
from app.services.decay_curves import DecayCurve, decay_overlay, trial_curve
from app.services.listening import listening
from app.services.price_history import price_history
from app.services.ranking import rank_units
from app.services.room_advice import advice_for_room
from app.services.running_cost_view import running_cost_view
from app.services.units import get_unit
from app.web.chart_choices import chosen_clips, cost_choices, curve_choices, ranking_choices, room_choices
from app.web.typed_form import TypedForm
from app.web.unit_system import unit_system

MakeChart = Callable[[Session, TypedForm], Chart]


def _ranking(session: Session, form: TypedForm) -> Chart:
    system = unit_system(form.typed("units"))
    return ranking_chart(
        rank_units(session, ranking_choices(form)),
        read_chart_facts(session),
        flow_factor=system.flow_factor,
        flow_symbol=system.flow_symbol,
    )


def _clearing_times(session: Session, form: TypedForm) -> Chart:
    return clearing_times_chart(rank_units(session, ranking_choices(form)), read_chart_facts(session))


def _decay_overlay(session: Session, form: TypedForm) -> Chart:
    return decay_overlay_chart(decay_overlay(session, curve_choices(form)), read_chart_facts(session))


def _cost_bars(session: Session, form: TypedForm) -> Chart:
    return cost_bars_chart(running_cost_view(session, cost_choices(form)), read_chart_facts(session))


def _cost_over_years(session: Session, form: TypedForm) -> Chart:
    return cost_over_years_chart(running_cost_view(session, cost_choices(form)), read_chart_facts(session))


def _cost_sensitivity(session: Session, form: TypedForm) -> Chart:
    return cost_sensitivity_chart(cost_of_owning(session, cost_choices(form)), read_chart_facts(session))


def _frontier(session: Session, form: TypedForm) -> Chart:
    system = unit_system(form.typed("units"))
    return frontier_chart(
        advice_for_room(session, room_choices(form)),
        read_chart_facts(session),
        flow_factor=system.flow_factor,
        flow_symbol=system.flow_symbol,
    )


def _sound_spectra(session: Session, form: TypedForm) -> Chart:
    return sound_spectra_chart(listening(session, chosen_clips(form)).chosen, read_chart_facts(session))


def _price_history(session: Session, form: TypedForm) -> Chart:
    return price_history_chart(price_history(session, _unit_id(form)), read_chart_facts(session))


def _claims_measured(session: Session, form: TypedForm) -> Chart:
    unit = get_unit(session, _unit_id(form))
    return claims_chart(f"{unit.maker} {unit.model}", claims_of_unit(session, unit.id), read_chart_facts(session))


def _unit_id(form: TypedForm) -> int:
    unit_id = form.whole_number("unit", "The unit")
    if unit_id is None:
        raise InvalidValue("This chart needs a unit; add ?unit= and its number to the address.", field="unit")
    return unit_id


def _trial_decay(session: Session, form: TypedForm) -> Chart:
    curve, name = _one_trial(session, form)
    return trial_decay_chart(
        curve,
        read_chart_facts(session),
        channel_name=name,
        unit=channel(name).unit,
        scale="log" if form.text("scale") == "log" else "linear",
    )


def _residuals(session: Session, form: TypedForm) -> Chart:
    curve, name = _one_trial(session, form)
    return residuals_chart(curve, read_chart_facts(session), channel_name=name, unit=channel(name).unit)


def _one_trial(session: Session, form: TypedForm) -> tuple[DecayCurve, str]:
    trial_id = form.whole_number("trial", "The trial")
    if trial_id is None:
        raise InvalidValue("This chart needs a trial; add ?trial= and its number to the address.", field="trial")
    name = form.text("channel") or "pm2_5"
    return trial_curve(session, trial_id, name), name


NAMED_CHARTS: dict[str, MakeChart] = {
    "ranking": _ranking,
    "clearing-times": _clearing_times,
    "decay-overlay": _decay_overlay,
    "cost-bars": _cost_bars,
    "cost-over-years": _cost_over_years,
    "cost-sensitivity": _cost_sensitivity,
    "frontier": _frontier,
    "sound-spectra": _sound_spectra,
    "price-history": _price_history,
    "claims-measured": _claims_measured,
    "trial-decay": _trial_decay,
    "residuals": _residuals,
}


def make_chart(session: Session, name: str, form: TypedForm) -> Chart:
    """The chart of that name. Raises NotFound for an unknown name, InvalidValue for what the address got wrong."""
    if name not in NAMED_CHARTS:
        raise NotFound("chart", name)
    chart = NAMED_CHARTS[name](session, form)
    if not form.is_good:
        field, message = next(iter(form.errors.items()))
        raise InvalidValue(message, field=field)
    return chart
