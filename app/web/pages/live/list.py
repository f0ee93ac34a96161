"""The list of live runs, and the form that starts one."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from sqlalchemy.orm import Session
from starlette.responses import RedirectResponse, Response

from app.errors import InvalidValue
from app.services.adding_trials.live_runs.run import closed_at, open_runs, recent_runs, start_run
from app.services.bench.form_options import trial_form_options
from app.services.bench.invented import invented_bench
from app.services.logs.trial_fields import TRIAL_TEXTS, NewTrial
from app.services.logs.trial_kinds import EMPTY_ROOM, UNIT_RUNNING
from app.services.units.entry import find_setting
from app.web.dependencies import RenderDep, SessionDep
from app.web.forms.options import filter_options
from app.web.forms.typed_form import TypedForm, TypedFormDep, empty_form
from app.web.pages.adding_a_trial.fields import kinds_of_trial
from app.web.routers import page_router
from app.web.templating.page_context import Choice

router = page_router()


@dataclass(frozen=True, slots=True)
class RunLine:
    """One run of the list."""

    id: int
    title: str
    started: str
    status: str
    trial_id: int | None


@dataclass(frozen=True, slots=True)
class LiveListPage:
    """`offers_demonstration` on the demonstration bench, where a recorded run can be replayed."""

    form: TypedForm
    runs: Sequence[RunLine]
    number_open: int
    kinds: Sequence[Choice]
    units: Sequence[Choice]
    setting_names: Sequence[str]
    rooms: Sequence[Choice]
    loggers: Sequence[Choice]
    smoke_sources: Sequence[Choice]
    offers_demonstration: bool


@router.get("/live")
def live_runs(session: SessionDep, render: RenderDep) -> Response:
    return render("pages/live/list.html", _page(session, empty_form()))


@router.post("/live")
def live_run_started(session: SessionDep, render: RenderDep, form: TypedFormDep) -> Response:
    with form.attempt(session):
        new = conditions_in(session, form)
        form.stop_if_errors()
        return RedirectResponse(f"/live/{start_run(session, new).run_id}", 303)
    return render("pages/live/list.html", _page(session, form), status_code=422)


def conditions_in(session: Session, form: TypedForm) -> NewTrial:
    """Conditions of a run; unit and setting may be empty until it is finished."""
    room_id = form.whole_number("room_id", "The room")
    if room_id is None:
        form.add_error("room_id", "No room selected. Choose one.")
    kind = form.typed("kind", UNIT_RUNNING)
    unit_id = form.whole_number("unit_under_test_id", "The unit") if kind != EMPTY_ROOM else None
    texts: dict[str, Any] = {name: form.text(name) for name in TRIAL_TEXTS}
    return NewTrial(
        kind=kind,
        room_id=room_id or 0,
        unit_under_test_id=unit_id,
        setting_id=setting_in(session, form, unit_id),
        smoke_source_id=form.whole_number("smoke_source_id", "The smoke source"),
        logger_id=form.whole_number("logger_id", "The logger"),
        **texts,
    )


def setting_in(session: Session, form: TypedForm, unit_id: int | None) -> int | None:
    """Id of the setting named in the form; None without a unit or a name. Raises InvalidValue for an unknown one."""
    name = form.text("setting")
    if unit_id is None or not name:
        return None
    found = find_setting(session, unit_id, name)
    if found is None:
        raise InvalidValue(
            f"The unit has no setting {name!r}. Enter one of its settings, or add it on the page of the unit.",
            field="setting",
        )
    return found


def title_of_run(run: Any) -> str:
    """Room, unit and setting of a LiveRun."""
    if run.kind == EMPTY_ROOM:
        return f"{run.room.name}, empty room"
    unit = run.unit_under_test
    named = f"{unit.maker} {unit.model}" if unit else "unit not chosen yet"
    return ", ".join([run.room.name, named, *([run.setting.name] if run.setting else [])])


def _page(session: Session, form: TypedForm) -> LiveListPage:
    now = datetime.now(UTC)
    options = trial_form_options(session)
    return LiveListPage(
        form=form,
        runs=[_line(run, now) for run in recent_runs(session)],
        number_open=len(open_runs(session, now)),
        kinds=[Choice(value, words, value == form.typed("kind")) for value, words in kinds_of_trial()],
        units=filter_options(options.units, form.typed("unit_under_test_id"), "choose later"),
        setting_names=options.setting_names,
        rooms=filter_options(options.rooms, form.typed("room_id") or str(options.last_room_id or ""), "choose one"),
        loggers=filter_options(options.loggers, form.typed("logger_id"), "not specified"),
        smoke_sources=filter_options(options.smoke_sources, form.typed("smoke_source_id"), "not specified"),
        offers_demonstration=invented_bench(session).invented,
    )


def _line(run: Any, now: datetime) -> RunLine:
    if run.trial_id is not None:
        status = f"trial {run.trial_id}"
    else:
        status = "open" if closed_at(run, now) is None else "closed, not finished"
    return RunLine(run.id, title_of_run(run), f"{run.started_at:%Y-%m-%d %H:%M}", status, run.trial_id)
