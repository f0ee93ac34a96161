"""Marks of a trial: changes are previewed first, and saved on request."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any
from urllib.parse import urlencode

from fastapi import Request
from sqlalchemy.orm import Session
from starlette.responses import RedirectResponse, Response

from app.compute.wording.numbers import DASH, measured_text
from app.compute.wording.rounding import decimals_from_size, rounded_text
from app.errors import InvalidValue
from app.reading_files.headers.channels import channel, in_order
from app.services.bench.choices import bench_choices
from app.services.logs.trial_fields import MARKS, TrialMarks
from app.services.logs.trial_kinds import EMPTY_ROOM
from app.web.api.shapes import Id
from app.web.dependencies import RenderDep, SessionDep
from app.web.forms.addresses import query_form
from app.web.forms.typed_form import TypedForm, TypedFormDep, empty_form, filled_form
from app.web.pages.adding_a_trial.fields import MARK_FIELDS, marks_of, minutes_text, name_marks_as_typed
from app.web.pages.adding_a_trial.mark_handles import MarkHandle, handles_of, marks_of_decay
from app.web.routers import page_router

router = page_router()

_MOVE_WORDS = {
    "total_decay_per_h": "Total decay",
    "clean_air_delivery_rate_m3_per_h": "Clean air delivery rate",
    "standard_clearing_time_min": "Time to 95 % reduction",
    "time_to_clear_min": "Time to clear",
    "not_cleared_before_min": "Not cleared before",
    "fit_window_start_min": "Fit window start, from unit on",
    "fit_window_end_min": "Fit window end, from unit on",
}


@dataclass(frozen=True, slots=True)
class MoveRow:
    """One number before and after."""

    channel: str
    quantity: str
    unit: str
    before: str
    after: str
    moves: bool


@dataclass(frozen=True, slots=True)
class MarksPage:
    """`moves` are the changes under the new marks; `is_asked`: other marks were requested."""

    trial_id: int
    title: str
    form: TypedForm
    found: dict[str, str]
    handles: Sequence[MarkHandle]
    channel: str
    figure_url: str
    residuals_url: str
    is_asked: bool
    moves: Sequence[MoveRow]
    notes: Sequence[Any]


@router.get("/trials/{trial_id}/marks")
def marks_previewed(trial_id: Id, request: Request, session: SessionDep, render: RenderDep) -> Response:
    form = query_form(request.query_params)
    page = _page(session, trial_id, form)
    return render("pages/trials/marks.html", page, charts=True, status_code=200 if form.is_good else 422)


@router.post("/trials/{trial_id}/marks")
def marks_saved(trial_id: Id, session: SessionDep, render: RenderDep, form: TypedFormDep) -> Response:
    from app.services.trials.detail import trial_detail
    from app.services.trials.marks import change_marks  # loaded when used: the analysis needs scipy

    marks = marks_from_form(session, trial_detail(session, trial_id).trial, form)
    if form.is_good:
        with form.attempt(session):
            change_marks(session, trial_id, marks or TrialMarks(), who=form.text("who"), why=form.text("why"))
            return RedirectResponse(f"/trials/{trial_id}", 303)
        name_marks_as_typed(form)
    return render("pages/trials/marks.html", _page(session, trial_id, form), charts=True, status_code=422)


def marks_from_form(session: Session, trial: Any, form: TypedForm) -> TrialMarks | None:
    """The marks in a form or URL; None without any. `trial` comes with its log."""
    if not any(name in form.values for name in MARK_FIELDS):
        return None
    return marks_of(form, trial.log.started_at, trial.log.timezone or bench_choices(session).timezone)


def form_of_marks(trial: Any) -> TypedForm:
    """The form with the marks that a person set; found marks stay empty."""
    in_minutes = {each.form_name: minutes_text(getattr(trial, each.name)) for each in MARKS}
    return filled_form(TrialMarks, trial, **in_minutes)


def found_marks(result: Any) -> dict[str, str]:
    """Positions of the marks in the analysis of a channel, in minutes after the first reading."""
    return {name: minutes_text(value) for name, value in found_seconds(result).items()}


def found_seconds(result: Any) -> dict[str, float | None]:
    """The same in seconds; the end of the smoke is the peak as long as nobody marked it."""
    on = result.unit_on_s
    window = (result.fit_window_start_min, result.fit_window_end_min)
    return {
        "smoke_start": result.smoke_start_s,
        "smoke_end": result.peak_s,
        "unit_on": on,
        "fit_start": None if window[0] is None else on + 60 * window[0],
        "fit_end": None if window[1] is None else on + 60 * window[1],
        "end": result.end_s,
    }


def figure_addresses(trial_id: int, channel_name: str, form: TypedForm, *, scale: str = "") -> tuple[str, str]:
    """URLs of the chart and of the residuals, under the marks of the form, if any."""
    query = [("channel", channel_name), ("scale", scale)] if scale else [("channel", channel_name)]
    query += [(name, form.typed(name)) for name in MARK_FIELDS if name in form.values]
    text = urlencode(query)
    return f"/trials/{trial_id}/figure.json?{text}", f"/trials/{trial_id}/residuals.json?{text}"


def _page(session: Session, trial_id: int, form: TypedForm) -> MarksPage:
    from app.services.trials.detail import trial_detail
    from app.services.trials.marks import preview_marks  # loaded when used: the analysis needs scipy

    detail = trial_detail(session, trial_id)
    asked = form.one_of("channel", "The channel", tuple(each.channel for each in detail.channels))
    first = detail.channel(asked) or next(iter(detail.channels), None)
    marks = marks_from_form(session, detail.trial, form) if form.is_good else None
    preview = None
    if marks is not None and form.is_good:
        try:
            preview = preview_marks(session, trial_id, marks)
        except InvalidValue as error:
            form.add_error(error.field or "", error.message)
            name_marks_as_typed(form)
    shown = form if form.values.keys() & set(MARK_FIELDS) else form_of_marks(detail.trial)
    shown.errors = form.errors
    channel_name = first.channel if first else ""
    drawn = shown if preview else form_of_marks(detail.trial)
    urls = figure_addresses(trial_id, channel_name, drawn if preview else empty_form())
    found = found_marks(first.result) if first else {}
    if preview is not None and channel_name in preview.decays:
        found = marks_of_decay(preview.decays[channel_name])
    return MarksPage(
        trial_id=trial_id,
        title=title_of(detail.trial),
        form=shown,
        found=found,
        handles=handles_of(shown, found, empty_room=detail.trial.kind == EMPTY_ROOM),
        channel=channel_name,
        figure_url=urls[0] if first else "",
        residuals_url=urls[1] if first else "",
        is_asked=preview is not None,
        moves=_moves_in_order(preview.moves, channel_name) if preview else [],
        notes=preview.notes.get(channel_name, ()) if preview else (),
    )


def title_of(trial: Any) -> str:
    """Title of a trial's pages."""
    if trial.unit_under_test is None:
        return f"Empty room {trial.room.name}, {trial.started_at.date()}"
    setting = f", {trial.setting.name}" if trial.setting else ""
    return f"{trial.unit_under_test.maker} {trial.unit_under_test.model}{setting}"


def _moves_in_order(moves: Sequence[Any], shown: str) -> list[MoveRow]:
    """Changes, the charted channel first; numbers that exist neither before nor after are omitted."""
    there = [move for move in moves if move.before is not None or move.after is not None]
    names = in_order({move.channel for move in there})
    there.sort(key=lambda move: (move.channel != shown, names.index(move.channel)))
    return [_move_row(move) for move in there]


def _move_row(move: Any) -> MoveRow:
    return MoveRow(
        channel=channel(move.channel).label,
        quantity=_MOVE_WORDS[move.field],
        unit=move.unit,
        before=_words(move.before, move.before_uncertainty),
        after=_words(move.after, move.after_uncertainty),
        moves=_words(move.before, move.before_uncertainty) != _words(move.after, move.after_uncertainty),
    )


def _words(value: float | None, uncertainty: float | None) -> str:
    if value is None:
        return DASH
    if not uncertainty:
        return rounded_text(value, decimals_from_size(value))
    words = measured_text(value, uncertainty)
    return f"{words.value} ± {words.uncertainty}"
