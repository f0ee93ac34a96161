"""Advice for a room: suitable settings, why others are not, and the Pareto front."""

from dataclasses import dataclass

from fastapi import Request
from starlette.responses import HTMLResponse

from app.compute.comparison.room_advice import Candidate, Fit
from app.compute.wording.numbers import counted, listed, measured_text, money
from app.compute.wording.rounding import rounded_text
from app.errors import InvalidValue
from app.figures.charts.frontier import frontier_text
from app.services.ranking.room_advice import ROOM_RULES, AdviceForRoom, advice_for_room
from app.web.dependencies import RenderDep, SnapshotDep
from app.web.forms.addresses import address, query_form
from app.web.forms.chart_choices import room_choices
from app.web.forms.options import plain_choices
from app.web.forms.typed_form import TypedForm
from app.web.forms.unit_system import UnitSystem, units_from_form
from app.web.pages.cells import Cell
from app.web.routers import page_router
from app.web.templating.page_context import Choice

router = page_router()
PATH = "/room"
_MOST_PAIRS = 6
_MOST_LINES = 60


@dataclass(frozen=True, slots=True)
class AdviceLine:
    """One setting: rate, air changes and time in the reader's room, sound, price."""

    unit_id: int
    unit: str
    setting: str
    cells: tuple[Cell, ...]
    is_quietest_of_unit: bool
    caution: str


@dataclass(frozen=True, slots=True)
class RoomPage:
    """Context of the room advice template."""

    title: str
    answer: str
    is_empty: bool
    shown: str
    removed: tuple[str, ...]
    lines: tuple[AdviceLine, ...]
    lines_not_shown: int
    nearest: tuple[str, ...]
    pairs: tuple[AdviceLine, ...]
    frontier: tuple[AdviceLine, ...]
    frontier_not_shown: int
    frontier_text: str
    assumptions: tuple[str, ...]
    flow_symbol: str
    currency: str
    distance: str
    chart_query: str
    rules: tuple[Choice, ...]
    form: TypedForm


@router.get(PATH)
def show_room(request: Request, snapshot: SnapshotDep, render: RenderDep) -> HTMLResponse:
    form = query_form(request.query_params)
    try:
        found = advice_for_room(snapshot, room_choices(form))
    except InvalidValue as error:
        form.add_error(error.field or "", error.message)
        found = advice_for_room(snapshot)
    if not form.values:
        form.values = {"room_area_m2": ["20"], "max_sound_dba": ["45"]}
    page = _page(found, form, units_from_form(form))
    return render(
        "pages/ranking/room_advice.html", page, status_code=200 if form.is_good else 422, charts=bool(found.frontier)
    )


def _page(found: AdviceForRoom, form: TypedForm, system: UnitSystem) -> RoomPage:
    serving = len({fit.candidate.unit_id for fit in found.advice.fits})
    return RoomPage(
        title=f"Units for a room of {found.choices.room_area_m2:g}\u00a0m²{_limits(found)}",
        answer=_answer(found, system),
        is_empty=found.units == 0,
        shown=f"{serving} of {counted(found.units, 'unit')}",
        removed=tuple(f"{left.units} {left.words}" for left in found.left_out),
        lines=_fit_lines(found.advice.fits[:_MOST_LINES], found, system),
        lines_not_shown=max(0, len(found.advice.fits) - _MOST_LINES),
        nearest=_nearest(found, system),
        pairs=_fit_lines(found.pairs[:_MOST_PAIRS], found, system),
        frontier=tuple(_line(candidate, system) for candidate in found.frontier[:_MOST_LINES]),
        frontier_not_shown=max(0, len(found.frontier) - _MOST_LINES),
        frontier_text=frontier_text(found),
        assumptions=(
            f"The room needs {_flow(found.need.rate_m3_per_h, system)}, {found.need.air_changes_per_h:.2f} air "
            f"changes per hour of {found.need.volume_m3:.0f}\u00a0m³.",
            *found.need.assumptions,
            "Time to 95\u00a0% reduction in this room is for the unit alone: well mixed, no source, doors shut.",
            "Rates measured in the test room are assumed to apply in this room.",
        ),
        flow_symbol=system.flow_symbol,
        currency=found.currency,
        distance=f"{found.distance_m:g}",
        chart_query=address("", form.values).lstrip("?"),
        rules=tuple(plain_choices(ROOM_RULES, found.choices.rule)),
        form=form,
    )


def _limits(found: AdviceForRoom) -> str:
    limits = []
    if found.choices.max_sound_dba is not None:
        limits.append(f"below {found.choices.max_sound_dba:g}\u00a0dB(A)")
    if found.choices.max_price is not None:
        limits.append(f"up to {money(found.choices.max_price, found.currency, 0)}")
    return f", {listed(limits)}" if limits else ""


def _answer(found: AdviceForRoom, system: UnitSystem) -> str:
    fits = {fit.candidate.setting_id: fit for fit in found.advice.fits}
    best = [fits[setting_id] for setting_id in found.best_of_unit]
    if not best:
        alone = "No single unit is enough for this room within these limits"
        if not found.pairs:
            return f"{alone}, nor are two of the same unit."
        pair = found.pairs[0].candidate
        return f"{alone}. Two of the same unit would be: {_named(pair, found, system)} for both."
    words = [_named(fit.candidate, found, system) for fit in best[:3]]
    more = f", and {len(best) - 3} more below" if len(best) > 3 else ""
    if len(best) == 1:
        return f"Only one unit is enough for this room within these limits: {words[0]}."
    return f"{counted(len(best), 'unit')} would be enough, cheapest first: {'; '.join(words)}{more}."


def _named(c: Candidate, found: AdviceForRoom, system: UnitSystem) -> str:
    parts = [f"{c.unit} at “{c.setting}”"]
    if c.price is not None:
        parts.append(money(c.price, found.currency, 0))
    if c.rate is not None:
        parts.append(_flow(c.rate.value, system))
    if c.sound_dba is not None:
        mark = f"{'an estimated ' if c.sound_is_estimate else ''}{'at most ' if c.sound_is_upper_bound else ''}"
        parts.append(f"{mark}{c.sound_dba:.0f}\u00a0dB(A)")
    return ", ".join(parts)


def _nearest(found: AdviceForRoom, system: UnitSystem) -> tuple[str, ...]:
    if found.advice.fits:
        return ()
    nearest = []
    if found.strongest_within_limits is not None:
        nearest.append(f"Strongest within the limits: {_named(found.strongest_within_limits, found, system)}.")
    if found.quietest_that_serves is not None:
        nearest.append(f"Quietest that is strong enough: {_named(found.quietest_that_serves, found, system)}.")
    return tuple(nearest)


def _fit_lines(fits: tuple[Fit, ...], found: AdviceForRoom, system: UnitSystem) -> tuple[AdviceLine, ...]:
    best = set(found.best_of_unit)
    return tuple(_fit_line(fit, fit.candidate.setting_id in best, system) for fit in fits)


def _fit_line(fit: Fit, is_quietest_of_unit: bool, system: UnitSystem) -> AdviceLine:
    changes = measured_text(
        fit.air_changes_per_h.value, fit.air_changes_per_h.uncertainty, *fit.air_changes_per_h.interval_95
    )
    c = fit.candidate
    return AdviceLine(
        c.unit_id,
        c.unit,
        c.setting,
        (
            _rate(c, system),
            Cell("value", changes.value, changes.interval),
            _minutes(fit),
            _sound(c),
            _price(c),
        ),
        is_quietest_of_unit,
        "" if fit.sure else "The interval of its rate extends below what the room needs, so it may be too weak.",
    )


def _minutes(fit: Fit) -> Cell:
    interval = fit.minutes_interval_95
    below = "" if interval is None else f"{interval[0]:.0f} to {interval[1]:.0f}"
    return Cell("estimate", f"{fit.minutes_to_clear:.0f}", below, "Calculated from the rate, not measured here.")


def _line(c: Candidate, system: UnitSystem) -> AdviceLine:
    return AdviceLine(c.unit_id, c.unit, c.setting, (_price(c), _sound(c), _rate(c, system)), False, "")


def _rate(c: Candidate, system: UnitSystem) -> Cell:
    if c.rate is None:
        return Cell("missing", reason="Not measured.")
    words = system.flow_text(c.rate.value, c.rate.uncertainty, c.rate.low_95, c.rate.high_95)
    return Cell("value", words.value, words.interval)


def _sound(c: Candidate) -> Cell:
    if c.sound_dba is None:
        return Cell("missing", reason="The sound of this setting was not measured.")
    text = rounded_text(c.sound_dba, 0)
    if c.sound_is_upper_bound:
        below = "est." if c.sound_is_estimate else ""
        return Cell("bound", f"≤ {text}", below, "The room was too loud: this is an upper bound.")
    below = ""
    if c.sound_level is not None and c.sound_level.uncertainty:
        low, high = c.sound_level.interval_95
        below = f"{rounded_text(low, 0)} to {rounded_text(high, 0)}"
    if c.sound_is_estimate:
        return Cell("estimate", text, below, reason="Converted from another distance by the distance law.")
    return Cell("value", text, below)


def _price(c: Candidate) -> Cell:
    if c.price is None:
        return Cell("missing", reason="No price recorded in the bench currency.")
    return Cell("value", rounded_text(c.price, 0))


def _flow(rate_m3_per_h: float, system: UnitSystem) -> str:
    return f"{rate_m3_per_h * system.flow_factor:.0f}\u00a0{system.flow_symbol}"
