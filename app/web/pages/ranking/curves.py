"""Chart of several decay curves on top of one another."""

from dataclasses import dataclass

from fastapi import Request
from sqlalchemy.orm import Session
from starlette.responses import HTMLResponse

from app.compute.wording.numbers import MeasuredText, measured_text, not_within, plus_minus
from app.compute.wording.rounding import rounded_text
from app.errors import InvalidValue
from app.figures.charts.decay_overlay import curve_names, overlay_text
from app.reading_files.headers.channels import channel
from app.services.ranking.table import rank_units
from app.services.snapshot.bench_snapshot import current_snapshot
from app.services.snapshot.choices import EVERY, HIGHEST, QUIETEST
from app.services.trials.decay_curves import (
    MOST_CURVES,
    CurveChoices,
    DecayCurve,
    DecayOverlay,
    decay_overlay,
)
from app.web.dependencies import RenderDep, SessionDep
from app.web.forms.addresses import address, query_form
from app.web.forms.chart_choices import curve_choices, with_units_of_settings
from app.web.forms.typed_form import TypedForm
from app.web.routers import page_router
from app.web.templating.page_context import Choice, Switch

router = page_router()
PATH = "/curves"


@dataclass(frozen=True, slots=True)
class CurveLine:
    """One curve as a line of the table below the chart."""

    trial_id: int
    name: str
    setting: str
    day: str
    start_level: str
    decay_rate: MeasuredText | None
    time_to_clear: str
    is_bound: bool
    ended: str


@dataclass(frozen=True, slots=True)
class CurvesPage:
    """Context of the curves template."""

    title: str
    answer: str
    is_empty: bool
    chart_query: str
    lines: tuple[CurveLine, ...]
    level_unit: str
    left_out: tuple[str, ...]
    explanation: str
    switches: tuple[Switch, ...]
    settings: tuple[Choice, ...]
    channels: tuple[Choice, ...]
    rooms: tuple[Choice, ...]
    units: tuple[Choice, ...]
    most_curves: int
    kept: tuple[tuple[str, str], ...]
    form: TypedForm


@router.get(PATH)
def show_curves(request: Request, session: SessionDep, render: RenderDep) -> HTMLResponse:
    form = with_units_of_settings(session, query_form(request.query_params))
    try:
        asked = curve_choices(form)
        overlay = decay_overlay(session, asked, with_points=False)
        drawn = form.accepted
    except InvalidValue as error:
        form.add_error(error.field or "", error.message)
        asked, drawn = CurveChoices(), {}
        overlay = decay_overlay(session, asked, with_points=False)
    page = _page(session, asked, overlay, form, address("", drawn).lstrip("?"))
    return render("pages/ranking/curves.html", page, status_code=200 if form.is_good else 422, charts=not page.is_empty)


def _page(
    session: Session, asked: CurveChoices, overlay: DecayOverlay, form: TypedForm, chart_query: str
) -> CurvesPage:
    chosen, offered = overlay.choices, overlay.offered
    curves = (*overlay.curves, *([overlay.empty_room] if overlay.empty_room else []))
    names = (*curve_names(overlay.curves), *(["Empty room"] if overlay.empty_room else []))
    return CurvesPage(
        title="Decay curves",
        answer=overlay_text(overlay),
        is_empty=not curves,
        chart_query=chart_query,
        lines=tuple(_line(curve, name) for curve, name in zip(curves, names, strict=True)),
        level_unit=overlay.unit,
        left_out=overlay.left_out,
        explanation=_explanation(overlay),
        switches=_switches(form, overlay),
        settings=tuple(
            Choice(value, words, value.casefold() == chosen.setting.casefold())
            for value, words in (
                (HIGHEST, "highest of each unit"),
                (QUIETEST, "quietest of each unit"),
                (EVERY, "all settings"),
                *((name, f"“{name}”") for name in offered.setting_names),
            )
        ),
        channels=tuple(Choice(name, channel(name).label, name == chosen.channel) for name in offered.channels),
        rooms=tuple(Choice(str(room.id), room.name, room.id == chosen.room_id) for room in offered.rooms),
        units=_units(session, asked, overlay),
        most_curves=MOST_CURVES,
        kept=tuple((name, form.typed(name)) for name in ("scale", "levels", "empty_room") if form.typed(name)),
        form=form,
    )


def _line(curve: DecayCurve, name: str) -> CurveLine:
    rate = None
    if curve.total_decay_per_h is not None:
        rate = measured_text(curve.total_decay_per_h, curve.total_decay_uncertainty_per_h)
    time, is_bound = "", False
    if curve.time_to_clear_min is not None:
        time = plus_minus(curve.time_to_clear_min, curve.time_to_clear_uncertainty_min)
    elif curve.not_cleared_before_min is not None:
        time, is_bound = not_within(curve.not_cleared_before_min).removesuffix("\u00a0min"), True
    return CurveLine(
        trial_id=curve.trial_id,
        name=name,
        setting=curve.setting,
        day=curve.started_at.date().isoformat(),
        start_level=plus_minus(curve.start_level, curve.start_level_uncertainty),
        decay_rate=rate,
        time_to_clear=time,
        is_bound=is_bound,
        ended=rounded_text(curve.end_min, 0),
    )


def _explanation(overlay: DecayOverlay) -> str:
    words = "Points are readings; lines are the fitted decay with its 95\u00a0% band"
    if overlay.spread_of > len(overlay.curves):
        words += (
            f". {len(overlay.curves)} of {overlay.spread_of} tested units are shown, spread from fastest to slowest; "
            "select others below"
        )
    if any(not curve.cleared for curve in overlay.curves):
        words += ". An open marker at the end means that the run ended before the clear level was reached"
    return words + "."


def _switches(form: TypedForm, overlay: DecayOverlay) -> tuple[Switch, ...]:
    chosen = overlay.choices

    def option(words: str, is_chosen: bool, **changes: object) -> tuple[str, str, bool]:
        return words, address(PATH, form.values, **changes), is_chosen

    return (
        Switch(
            "Axis",
            (
                option("linear", chosen.scale == "linear", scale=None),
                option("logarithmic", chosen.scale == "log", scale="log"),
            ),
        ),
        Switch(
            "Levels",
            (
                option(overlay.unit, not chosen.normalised, levels=None),
                option("% of the start", chosen.normalised, levels="share"),
            ),
        ),
        Switch(
            "Empty room",
            (
                option("shown", chosen.with_empty_room, empty_room=None),
                option("hidden", not chosen.with_empty_room, empty_room="no"),
            ),
        ),
    )


def _units(session: Session, chosen: CurveChoices, overlay: DecayOverlay) -> tuple[Choice, ...]:
    """Units with a usable trial at the chosen setting, by name; ticked if drawn."""
    drawn = {curve.unit_id for curve in overlay.curves}
    ranking = rank_units(current_snapshot(session), chosen.ranking)  # the same as the curves are chosen from
    rows = [line.row for line in ranking.lines if line.row.usable_trials]
    rows.sort(key=lambda row: f"{row.maker}\0{row.model}".casefold())
    names = {row.unit_id: f"{row.maker} {row.model}" for row in rows}
    return tuple(Choice(str(unit_id), name, unit_id in drawn) for unit_id, name in names.items())
