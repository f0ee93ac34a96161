"""List of trials, newest first, filtered by unit, room, kind and state."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from fastapi import Request
from sqlalchemy.orm import Session
from starlette.responses import Response

from app.compute.wording.numbers import MeasuredText, counted, listed, measured_text, not_within, plus_minus
from app.compute.wording.rounding import rounded_text
from app.errors import InvalidValue
from app.reading_files.headers.channels import channel
from app.services.bench.choices import bench_choices
from app.services.bench.form_options import trial_form_options
from app.services.logs.trial_kinds import KINDS_OF_TRIAL
from app.services.trials.list import STATES, ListedTrial, TrialCount, TrialFilter, count_trials, list_trials
from app.web.dependencies import RenderDep, SessionDep
from app.web.forms.addresses import address, query_form
from app.web.forms.options import filter_options
from app.web.forms.typed_form import TypedForm
from app.web.routers import page_router
from app.web.templating.page_context import Choice

router = page_router()
LINES_A_PAGE = 50
_STATE_WORDS = {"": "all", "kept": "combined", "excluded": "excluded", "trashed": "in the trash"}


@dataclass(frozen=True, slots=True)
class TrialLine:
    """One trial of the list; `decay` is the total decay of the bench's main channel."""

    id: int
    day: str
    name: str
    setting: str
    room: str
    tested_by: str
    decay: MeasuredText | None
    clean_air: MeasuredText | None
    time_to_clear: str
    is_bound: bool
    state: str


@dataclass(frozen=True, slots=True)
class TrialsPage:
    answer: str
    form: TypedForm
    lines: Sequence[TrialLine]
    channel: str
    units: Sequence[Choice]
    rooms: Sequence[Choice]
    kinds: Sequence[Choice]
    states: Sequence[Choice]
    is_narrowed: bool
    newest: bool
    newest_address: str
    older_address: str


@router.get("/trials")
def trials(request: Request, session: SessionDep, render: RenderDep) -> Response:
    form = query_form(request.query_params)
    page = _page(session, form)
    return render("pages/trials/list.html", page, status_code=200 if form.is_good else 422)


def _page(session: Session, form: TypedForm) -> TrialsPage:
    main = bench_choices(session).main_channel
    wanted = TrialFilter(
        unit_under_test_id=form.whole_number("unit_under_test_id", "The unit"),
        room_id=form.whole_number("room_id", "The room"),
        kind=form.typed("kind"),
        state=form.typed("state"),
    )
    cursor = form.typed("cursor") or None
    try:
        part = list_trials(session, wanted, main, LINES_A_PAGE, cursor)
    except InvalidValue as error:
        form.add_error(error.field or "", error.message)
        wanted = TrialFilter()
        part = list_trials(session, wanted, main, LINES_A_PAGE)
    form_options = trial_form_options(session)
    older = address("/trials", form.values, cursor=part.next_cursor) if part.next_cursor else ""
    return TrialsPage(
        answer=_answer(count_trials(session, wanted)),
        form=form,
        lines=[_line(row) for row in part.rows],
        channel=channel(main).label,
        units=filter_options(form_options.units, form.typed("unit_under_test_id"), "all units"),
        rooms=filter_options(form_options.rooms, form.typed("room_id"), "all rooms"),
        kinds=[Choice(kind, kind or "all types", kind == form.typed("kind")) for kind in ("", *KINDS_OF_TRIAL)],
        states=[Choice(state, _STATE_WORDS[state], state == form.typed("state")) for state in ("", *STATES)],
        is_narrowed=any(form.typed(name) for name in ("unit_under_test_id", "room_id", "kind", "state")),
        newest=cursor is None,
        newest_address=address("/trials", form.values, cursor=None),
        older_address=older,
    )


def _answer(count: TrialCount) -> str:
    """Number and kinds of trials, and their dates, over all pages of the list."""
    if count.first is None or count.last is None:
        return "No trials match the filters."
    kinds = []
    if count.with_unit:
        kinds.append(f"{counted(count.with_unit, 'run')} of {counted(count.units, 'unit')}")
    if count.empty_rooms:
        kinds.append(f"{counted(count.empty_rooms, 'run')} of an empty room")
    first, last = count.first.date(), count.last.date()
    days = f"on {first}" if first == last else f"from {first} to {last}"
    words = f"{counted(count.trials, 'trial')} {days}: {listed(kinds)}"
    if count.excluded:
        words += f"; {rounded_text(count.excluded, 0)} {'is' if count.excluded == 1 else 'are'} excluded"
    return f"{words}."


def _line(row: ListedTrial) -> TrialLine:
    trial, result = row.trial, row.result
    unit = trial.unit_under_test
    decay = clean_air = None
    clear, is_bound = "–", False
    if result is not None and result.total_decay_per_h is not None:
        decay = measured_text(result.total_decay_per_h, result.total_decay_uncertainty_per_h)
    if result is not None and result.clean_air_delivery_rate_m3_per_h is not None:
        clean_air = measured_text(result.clean_air_delivery_rate_m3_per_h, result.clean_air_delivery_rate_uncertainty)
    if result is not None and result.cleared and result.time_to_clear_min is not None:
        clear = plus_minus(result.time_to_clear_min, result.time_to_clear_uncertainty_min)
    elif result is not None and result.not_cleared_before_min is not None:
        clear, is_bound = not_within(result.not_cleared_before_min).removesuffix("\u00a0min"), True
    return TrialLine(
        id=trial.id,
        day=trial.started_at.date().isoformat(),
        name=f"{unit.maker} {unit.model}" if unit else "Empty room",
        setting=trial.setting.name if trial.setting else "",
        room=trial.room.name,
        tested_by=trial.tested_by,
        decay=decay,
        clean_air=clean_air,
        time_to_clear=clear,
        is_bound=is_bound,
        state=_state(trial, result),
    )


def _state(trial: Any, result: Any) -> str:
    if trial.trashed_at is not None:
        return "in the trash"
    if trial.unit_under_test is not None and trial.unit_under_test.trashed_at is not None:
        return "excluded: unit in the trash"
    if trial.excluded_at is not None:
        return f"excluded: {trial.excluded_why}"
    if result is None:
        return "no result for this channel"
    return "" if result.usable else "unusable"
