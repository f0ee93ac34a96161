"""The page of a live run: state, buttons for its events, chart, and its end."""

import json
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy.orm import Session
from starlette.responses import RedirectResponse, Response

from app.compute.live_runs.advice import Advice
from app.compute.wording.numbers import level_text
from app.reading_files.headers.channels import channel
from app.services.adding_trials.live_runs.events import KINDS_OF_EVENT, add_event, undo_event
from app.services.adding_trials.live_runs.finish import finish_run, request_file
from app.services.adding_trials.live_runs.recorded import read_run
from app.services.adding_trials.live_runs.run import DEMONSTRATION, FILE, get_run
from app.services.adding_trials.live_runs.state import CLOSED, OPEN, LiveState, live_state
from app.services.bench.form_options import trial_form_options
from app.services.logs.trial_kinds import UNIT_RUNNING
from app.web.api.shapes import Id
from app.web.dependencies import RenderDep, SessionDep
from app.web.forms.options import filter_options
from app.web.forms.typed_form import TypedForm, TypedFormDep, empty_form
from app.web.pages.adding_a_trial.fields import zone_of
from app.web.pages.live.list import setting_in, title_of_run
from app.web.routers import page_router
from app.web.templating.page_context import Choice

router = page_router()

_NEWEST_SHOWN = 10


@dataclass(frozen=True, slots=True)
class EventLine:
    id: int
    words: str
    time: str


@dataclass(frozen=True, slots=True)
class LiveRunPage:
    """`buttons` hold the value and label of each event; `signature` changes with what only a new page shows.

    newest : time and level of the newest readings, for readers without a script
    """

    run_id: int
    title: str
    status: str
    summary: str
    advice: Sequence[Advice]
    buttons: Sequence[tuple[str, str]]
    events: Sequence[EventLine]
    event_times_ms: str
    signature: str
    channel: str
    unit: str
    clear_level: float | None
    newest: Sequence[tuple[str, str]]
    clock_words: str
    timezone: str
    closes: str
    trial_id: int | None
    follows_file: bool
    file_requested: bool
    is_demonstration: bool
    form: TypedForm
    needs_unit: bool
    units: Sequence[Choice]
    setting_names: Sequence[str]


@router.get("/live/{run_id}")
def live_run(run_id: Id, session: SessionDep, render: RenderDep) -> Response:
    return render("pages/live/run.html", _page(session, run_id, empty_form()))


@router.post("/live/{run_id}/events")
def event_tapped(run_id: Id, session: SessionDep, render: RenderDep, form: TypedFormDep) -> Response:
    with form.attempt(session):
        sent_at = _moment(form, "sent_at")
        add_event(session, run_id, form.text("kind"), sent_at=sent_at, key=form.text("tap"))
        return RedirectResponse(f"/live/{run_id}", 303)
    return render("pages/live/run.html", _page(session, run_id, form), status_code=422)


@router.post("/live/{run_id}/events/{event_id}/undo")
def event_undone(run_id: Id, event_id: Id, session: SessionDep, render: RenderDep, form: TypedFormDep) -> Response:
    with form.attempt(session):
        undo_event(session, run_id, event_id)
        return RedirectResponse(f"/live/{run_id}", 303)
    return render("pages/live/run.html", _page(session, run_id, form), status_code=422)


@router.post("/live/{run_id}/finish")
def run_ended(run_id: Id, session: SessionDep, render: RenderDep, form: TypedFormDep) -> Response:
    """Stores the run as a trial, or asks the command that follows its file to do so."""
    with form.attempt(session):
        run = get_run(session, run_id)
        changed: dict[str, object] = {}
        unit_id = form.whole_number("unit_under_test_id", "The unit") or run.unit_under_test_id
        if unit_id is not None:
            changed = {"unit_under_test_id": unit_id}
            if (setting_id := setting_in(session, form, unit_id)) is not None:
                changed["setting_id"] = setting_id
        form.stop_if_errors()
        if run.trial_id is None and form.text("with") == FILE and request_file(session, run_id):
            return RedirectResponse(f"/live/{run_id}", 303)
        return RedirectResponse(f"/trials/{finish_run(session, run_id, changed=changed).trial_id}", 303)
    return render("pages/live/run.html", _page(session, run_id, form), status_code=422)


def _moment(form: TypedForm, name: str) -> datetime | None:
    """A time written by the page's script; None without one, or with one that cannot be read."""
    try:
        moment = datetime.fromisoformat(form.text(name))
    except ValueError:
        return None
    return moment if moment.tzinfo is not None else None


def _page(session: Session, run_id: int, form: TypedForm) -> LiveRunPage:
    state = live_state(session, run_id)
    run, fit = state.run, state.fit
    timezone = state.timezone
    options = trial_form_options(session)
    standing = [event for event in state.events if event.undone_at is None]
    return LiveRunPage(
        run_id=run_id,
        title=title_of_run(run),
        status=state.status,
        summary=state.summary,
        advice=state.advice,
        buttons=[(kind, kind.capitalize()) for kind in KINDS_OF_EVENT] if state.status == OPEN else (),
        events=[EventLine(e.id, e.kind.capitalize(), _clock(e.at, timezone)) for e in standing],
        event_times_ms=json.dumps([[e.kind, _on_logger_clock_ms(state, e.at)] for e in standing]),
        signature=signature_of(state),
        channel=channel(fit.channel).label if fit else "",
        unit=fit.unit if fit else "",
        clear_level=fit.decay.time_to_clear.clear_level if fit else None,
        newest=_newest(session, state, timezone),
        clock_words=state.clock_words,
        timezone=timezone,
        closes=_clock(state.closes_at, timezone) if state.closes_at else "",
        trial_id=run.trial_id,
        follows_file=run.source == FILE and state.status != CLOSED,
        file_requested=run.file_requested_at is not None,
        is_demonstration=run.source == DEMONSTRATION,
        form=form,
        needs_unit=run.kind == UNIT_RUNNING,
        units=filter_options(
            options.units, form.typed("unit_under_test_id") or str(run.unit_under_test_id or ""), "choose one"
        ),
        setting_names=options.setting_names,
    )


def signature_of(state: LiveState) -> str:
    """What the page's script cannot show without loading the page again: events, status and a request for the file."""
    events = [event.id for event in state.events if event.undone_at is None]
    return f"{state.status} {events} {state.run.file_requested_at is not None}"


def _on_logger_clock_ms(state: LiveState, at: datetime) -> int:
    return round(1000 * (at.timestamp() + state.logger_correction_s))


def _newest(session: Session, state: LiveState, timezone: str) -> list[tuple[str, str]]:
    if state.fit is None:
        return []
    readings = read_run(session, state.run.id, [state.fit.channel], newest=_NEWEST_SHOWN)
    levels = readings.levels[state.fit.channel]
    return [
        (_clock(readings.time(place), timezone), level_text(float(levels[place]), state.fit.unit))
        for place in reversed(range(len(levels)))
        if levels[place] == levels[place]
    ]


def _clock(moment: datetime, timezone: str) -> str:
    return moment.astimezone(zone_of(timezone)).strftime("%H:%M:%S")
