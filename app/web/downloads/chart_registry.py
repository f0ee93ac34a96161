"""Registry of charts by name: how each is built from the query of its URL.

A new chart is one function here and one line in `NAMED_CHARTS`; pictures, tables and URLs follow from that.
"""

from collections.abc import Callable
from dataclasses import replace
from datetime import date

from sqlalchemy.orm import Session

from app.errors import InvalidValue, NotFound
from app.figures.chart import Axis, Chart
from app.figures.charts.claims_measured import claims_chart
from app.figures.charts.clearing_times import clearing_times_chart
from app.figures.charts.cost_bars import cost_bars_chart
from app.figures.charts.cost_over_years import cost_over_years_chart
from app.figures.charts.cost_sensitivity import cost_sensitivity_chart
from app.figures.charts.decay_overlay import decay_overlay_chart
from app.figures.charts.frontier import frontier_chart
from app.figures.charts.logger_checks import logger_difference_chart, logger_record_chart, logger_scatter_chart
from app.figures.charts.planned_runs import planned_runs_chart
from app.figures.charts.price_history import price_history_chart
from app.figures.charts.ranking_intervals import ranking_chart
from app.figures.charts.rates_by_size import rates_by_size_chart
from app.figures.charts.room_control import LATEST_RUNS, room_control_chart, room_ewma_chart
from app.figures.charts.sound_spectra import sound_spectra_chart
from app.figures.charts.trial_decay import residuals_chart, trial_decay_chart
from app.reading_files.headers.channels import channel
from app.services.bench.chart_facts import ChartFacts, read_chart_facts
from app.services.bench.rooms import get_room
from app.services.costs.cost_of_owning import cost_of_owning
from app.services.costs.running_cost import UnitCost, running_cost_view
from app.services.history.latest_data_date import EVERYTHING, POWER, PRICES, SOUND, TRIALS, latest_data_date, latest_of
from app.services.logs.logger_checks.record import logger_record
from app.services.measurements.claims import claims_of_unit
from app.services.measurements.listening import listening
from app.services.ranking.room_advice import RoomChoices, advice_for_room
from app.services.ranking.table import Ranking, rank_units
from app.services.results.control_charts.room_charts import CHARTS, RoomCharts, room_charts
from app.services.results.control_charts.words import day_of
from app.services.reviews.unit_overview import UnitOverview
from app.services.snapshot.bench_snapshot import BenchSnapshot, current_snapshot
from app.services.snapshot.room_charts import SnapshotSource
from app.services.trials.decay_curves import SCALES, DecayCurve, decay_overlay, trial_curve
from app.services.units.entry import get_unit
from app.services.units.price_history import price_history
from app.web.forms.chart_choices import chosen_clips, cost_choices, curve_choices, room_choices
from app.web.forms.plan_form import plan_choices
from app.web.forms.ranking_form import ranking_choices
from app.web.forms.typed_form import TypedForm
from app.web.forms.unit_system import UnitSystem, unit_system

# A chart, and a function for the date of its latest data, which is shown on downloads only.
DatedChart = tuple[Chart, Callable[[], date | None]]
MakeChart = Callable[[Session, TypedForm], DatedChart]


def _ranking(session: Session, form: TypedForm) -> DatedChart:
    from app.services.ranking.rank_intervals import rank_view  # loaded when used: it needs scipy

    system = unit_system(form.typed("units"))
    snapshot = current_snapshot(session)
    ranking = rank_units(snapshot, ranking_choices(form))
    chart = ranking_chart(
        ranking,
        read_chart_facts(session),
        ranks=rank_view(snapshot, ranking.choices),
        flow_factor=system.flow_factor,
        flow_symbol=system.flow_symbol,
    )
    return chart, lambda: _newest_trial(ranking)


def _clearing_times(session: Session, form: TypedForm) -> DatedChart:
    ranking = rank_units(current_snapshot(session), ranking_choices(form))
    return clearing_times_chart(ranking, read_chart_facts(session)), lambda: _newest_trial(ranking)


def _newest_trial(ranking: Ranking) -> date | None:
    return latest_of(line.row.latest_trial_on for line in ranking.lines)


def _decay_overlay(session: Session, form: TypedForm) -> DatedChart:
    overlay = decay_overlay(session, curve_choices(form))
    curves = [*overlay.curves, *([overlay.empty_room] if overlay.empty_room else [])]
    newest = latest_of(curve.started_at.date() for curve in curves)
    return decay_overlay_chart(overlay, read_chart_facts(session)), lambda: newest


def _cost_bars(session: Session, form: TypedForm) -> DatedChart:
    view = running_cost_view(current_snapshot(session), cost_choices(form))
    return cost_bars_chart(view, read_chart_facts(session)), lambda: _newest_cost(session, view.costs)


def _cost_over_years(session: Session, form: TypedForm) -> DatedChart:
    view = running_cost_view(current_snapshot(session), cost_choices(form))
    return cost_over_years_chart(view, read_chart_facts(session)), lambda: _newest_cost(session, view.drawn)


def _cost_sensitivity(session: Session, form: TypedForm) -> DatedChart:
    found = cost_of_owning(current_snapshot(session), cost_choices(form))
    chart = cost_sensitivity_chart(found, read_chart_facts(session))
    return chart, lambda: _newest_cost(session, found.view.drawn)


def _newest_cost(session: Session, costs: tuple[UnitCost, ...]) -> date | None:
    return latest_data_date(current_snapshot(session), (POWER, PRICES), [cost.unit.row.unit_id for cost in costs])


def _frontier(session: Session, form: TypedForm) -> DatedChart:
    snapshot, system = current_snapshot(session), unit_system(form.typed("units"))
    chart = snapshot.view(_frontier_chart, (room_choices(form), read_chart_facts(session), system))
    return chart, lambda: latest_data_date(snapshot, (TRIALS, SOUND, PRICES))


def _frontier_chart(snapshot: BenchSnapshot, asked: tuple[RoomChoices, ChartFacts, UnitSystem]) -> Chart:
    choices, facts, system = asked
    found = advice_for_room(snapshot, choices)
    return frontier_chart(found, facts, flow_factor=system.flow_factor, flow_symbol=system.flow_symbol)


def _sound_spectra(session: Session, form: TypedForm) -> DatedChart:
    clips = listening(session, chosen_clips(form)).chosen
    newest = latest_of(entry.clip.recorded_on for entry in clips)
    return sound_spectra_chart(clips, read_chart_facts(session)), lambda: newest


def _price_history(session: Session, form: TypedForm) -> DatedChart:
    history = price_history(session, _number(form, "unit", "unit"))
    newest = latest_of(seen.seen_on for line in history.lines for seen in line.prices)
    return price_history_chart(history, read_chart_facts(session)), lambda: newest


def _claims_measured(session: Session, form: TypedForm) -> DatedChart:
    unit = get_unit(session, _number(form, "unit", "unit"))
    chart = claims_chart(f"{unit.maker} {unit.model}", claims_of_unit(session, unit.id), read_chart_facts(session))
    return chart, lambda: _newest_of_unit(session, unit.id)


def dated_claims_chart(session: Session, known: UnitOverview) -> Chart:
    """The chart of a unit's claims from what has been read of it, with the date of its latest data."""
    chart = claims_chart(f"{known.unit.maker} {known.unit.model}", known.claims, read_chart_facts(session))
    return replace(chart, newest=_newest_of_unit(session, known.unit.id))


def _newest_of_unit(session: Session, unit_id: int) -> date | None:
    return latest_data_date(current_snapshot(session), EVERYTHING, [unit_id])


def _logger_scatter(session: Session, form: TypedForm) -> DatedChart:
    from app.services.logs.logger_checks.drawing import drawn_check  # loaded when used: it needs scipy

    drawn = drawn_check(session, _number(form, "check", "check of a logger"))
    return logger_scatter_chart(drawn, read_chart_facts(session)), lambda: drawn.check.checked_on


def _logger_difference(session: Session, form: TypedForm) -> DatedChart:
    from app.services.logs.logger_checks.drawing import drawn_check

    drawn = drawn_check(session, _number(form, "check", "check of a logger"))
    return logger_difference_chart(drawn, read_chart_facts(session)), lambda: drawn.check.checked_on


def _logger_record(session: Session, form: TypedForm) -> DatedChart:
    record = logger_record(session, _number(form, "logger", "logger"))
    quantity = form.one_of("quantity", "The quantity", ("slope", "intercept")) or "slope"
    chart = logger_record_chart(record, read_chart_facts(session), quantity)
    return chart, lambda: latest_of(check.checked_on for check in record.checks)


def _number(form: TypedForm, name: str, what: str) -> int:
    found = form.whole_number(name, f"The {what}")
    if found is None:
        raise InvalidValue(f"This chart needs a {what}; add ?{name}= and its number to the URL.", field=name)
    return found


def _trial_decay(session: Session, form: TypedForm) -> DatedChart:
    curve, name = _one_trial(session, form)
    chart = trial_decay_chart(
        curve,
        read_chart_facts(session),
        channel_name=name,
        unit=channel(name).unit,
        scale=form.one_of("scale", "The scale", SCALES) or "linear",
    )
    return chart, lambda: curve.started_at.date()


def _residuals(session: Session, form: TypedForm) -> DatedChart:
    curve, name = _one_trial(session, form)
    chart = residuals_chart(curve, read_chart_facts(session), channel_name=name, unit=channel(name).unit)
    return chart, lambda: curve.started_at.date()


def _rates_by_size(session: Session, form: TypedForm) -> DatedChart:
    from app.services.trials.detail import trial_detail  # loaded when used: it needs scipy

    detail = trial_detail(session, _number(form, "trial", "trial"))
    chart = rates_by_size_chart(detail, read_chart_facts(session))
    return chart, lambda: detail.trial.started_at.date()


def _one_trial(session: Session, form: TypedForm) -> tuple[DecayCurve, str]:
    trial_id = _number(form, "trial", "trial")
    name = form.text("channel") or "pm2_5"
    return trial_curve(session, trial_id, name), name


def _room_control(session: Session, form: TypedForm) -> DatedChart:
    charts, of = _room_charts(session, form)
    return room_control_chart(charts, of, read_chart_facts(session), _runs(form)), lambda: _newest_run(charts, of)


def _room_ewma(session: Session, form: TypedForm) -> DatedChart:
    charts, of = _room_charts(session, form)
    return room_ewma_chart(charts, of, read_chart_facts(session), _runs(form)), lambda: _newest_run(charts, of)


def _room_charts(session: Session, form: TypedForm) -> tuple[RoomCharts, str]:
    room_id = form.whole_number("room", "The room")
    if room_id is None:
        raise InvalidValue("This chart needs a room; add ?room= and its number to the URL.", field="room")
    of = form.one_of("of", "The chart", CHARTS) or CHARTS[0]
    room = get_room(session, room_id)
    return room_charts(SnapshotSource(current_snapshot(session)), room, form.text("channel"), form.text("aerosol")), of


def _runs(form: TypedForm) -> int | None:
    """Number of runs drawn; None: all."""
    return None if form.text("runs") == "all" else LATEST_RUNS


def _newest_run(charts: RoomCharts, of: str) -> date | None:
    points = charts.chart(of).points
    return day_of(points[-1].run.day) if points else None


def _planned_runs(session: Session, form: TypedForm) -> DatedChart:
    from app.services.adding_trials.plans.answer import plan_view  # loaded when used: it needs scipy

    snapshot = current_snapshot(session)
    choices = plan_choices(session, form)
    if choices is None:
        return Chart("planned-runs", "", "", Axis(""), Axis(""), (), "", ""), lambda: None
    chart = planned_runs_chart(plan_view(snapshot, choices).answer, read_chart_facts(session))
    return chart, lambda: latest_data_date(snapshot, (TRIALS,))


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
    "rates-by-size": _rates_by_size,
    "room-control": _room_control,
    "room-ewma": _room_ewma,
    "logger-scatter": _logger_scatter,
    "logger-difference": _logger_difference,
    "logger-record": _logger_record,
    "planned-runs": _planned_runs,
}


def make_chart(session: Session, name: str, form: TypedForm, *, dated: bool = True) -> Chart:
    """Builds the chart of that name; `dated` adds the date of its latest data, for downloads.

    Raises NotFound for an unknown name, InvalidValue for an invalid query.
    """
    if name not in NAMED_CHARTS:
        raise NotFound("chart", name)
    chart, newest = NAMED_CHARTS[name](session, form)
    if not form.is_good:
        field, message = next(iter(form.errors.items()))
        raise InvalidValue(message, field=field)
    return replace(chart, newest=newest()) if dated else chart
