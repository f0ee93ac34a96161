"""Control charts of a room, with its changes and its check unit."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from urllib.parse import urlencode

from fastapi import Request
from sqlalchemy.orm import Session
from starlette.responses import RedirectResponse, Response

from app.compute.control_charts.chart import ChartPoint
from app.compute.study_figures import CONTROL_CHART_WORDS
from app.compute.wording.numbers import counted
from app.errors import InvalidValue
from app.figures.charts.room_control import LATEST_RUNS, control_text, ewma_text
from app.reading_files.headers.channels import channel, is_indicative
from app.services.bench.definitions import NewCheckUnit, NewRoomChange
from app.services.bench.room_changes import (
    add_room_change,
    change_in_words,
    check_units_of_room,
    delete_check_unit,
    delete_room_change,
    mark_check_unit,
)
from app.services.bench.rooms import get_room
from app.services.results.control_charts.check_unit_spread import FEWEST_CHECK_RUNS
from app.services.results.control_charts.room_charts import CHARTS, CHECK_UNIT, NATURAL_DECAY, RoomCharts, room_charts
from app.services.results.control_charts.words import (
    CHECK_TERMS,
    NATURAL_TERMS,
    ChartTerms,
    chart_finding,
    day_of,
    point_words,
    removed_words,
    shift_advice,
    shift_words,
)
from app.services.snapshot.bench_snapshot import current_snapshot
from app.services.snapshot.room_charts import SnapshotSource
from app.services.snapshot.tried_settings import settings_in_room
from app.web.api.shapes import Id
from app.web.dependencies import RenderDep, SessionDep
from app.web.forms.addresses import address, query_form
from app.web.forms.typed_form import TypedForm, TypedFormDep, empty_form
from app.web.routers import page_router
from app.web.templating.page_context import Choice, Switch

router = page_router()
TEMPLATE = "pages/bench/control_chart.html"
_MOST_POINTS = 50  # runs outside the limits in the table, the latest
_CHECK = "check_"  # prefix of the fields of the check unit
_TERMS = {NATURAL_DECAY: NATURAL_TERMS, CHECK_UNIT: CHECK_TERMS}


@dataclass(frozen=True, slots=True)
class OutsideRun:
    """A run outside its limits."""

    trial_id: int
    day: str
    words: str
    is_reference: bool


@dataclass(frozen=True, slots=True)
class ShiftLine:
    """A shift with what to do."""

    words: str
    advice: str


@dataclass(frozen=True, slots=True)
class ShownChart:
    """One quantity: its two charts, and what they show in words. `query` is the URL query of its charts."""

    heading: str
    query: str
    is_empty: bool
    has_average: bool  # runs after the reference
    finding: str
    chart_words: str
    ewma_words: str
    shifts: Sequence[ShiftLine]
    outside: Sequence[OutsideRun]
    outside_words: str
    to_do: str


@dataclass(frozen=True, slots=True)
class EntryLine:
    id: int
    words: str


@dataclass(frozen=True, slots=True)
class ControlPage:
    """Context of the template."""

    title: str
    room_id: int
    answer: str
    form: TypedForm
    channels: Sequence[Choice]
    aerosols: Sequence[Choice]
    charts: Sequence[ShownChart]
    switches: Sequence[Switch]
    is_indicative: bool
    removed_words: str
    without_rate_words: str
    study_words: str
    changes: Sequence[EntryLine]
    check_units: Sequence[EntryLine]
    fewest_check_runs: int
    settings: Sequence[Choice]


@router.get("/rooms/{room_id}/control")
def control_chart_shown(room_id: Id, request: Request, session: SessionDep, render: RenderDep) -> Response:
    asked, form = query_form(request.query_params), _new_form()
    room, source = get_room(session, room_id), SnapshotSource(current_snapshot(session))
    try:
        charts = room_charts(source, room, asked.text("channel"), asked.text("aerosol"))
    except InvalidValue as error:
        form.add_error(error.field or "", error.message)
        charts = room_charts(source, room)
    page = _page(session, charts, form, asked)
    return render(TEMPLATE, page, charts=True, status_code=200 if form.is_good else 422)


@router.post("/rooms/{room_id}/changes")
def room_change_added(room_id: Id, session: SessionDep, render: RenderDep, form: TypedFormDep) -> Response:
    new = form.entry(NewRoomChange)
    if new is not None:
        with form.attempt(session):
            add_room_change(session, room_id, new, who=new.noted_by)
            return _back(room_id)
    return _again(session, render, room_id, form)


@router.post("/rooms/{room_id}/changes/{change_id}/take-back")
def room_change_removed(
    room_id: Id, change_id: Id, session: SessionDep, render: RenderDep, form: TypedFormDep
) -> Response:
    with form.attempt(session):
        delete_room_change(session, change_id, who=form.text("who"), why=form.text("why"))
        return _back(room_id)
    return _again(session, render, room_id, form)


@router.post("/rooms/{room_id}/check-unit")
def check_unit_marked(room_id: Id, session: SessionDep, render: RenderDep, form: TypedFormDep) -> Response:
    new, setting_id = form.entry(NewCheckUnit, _CHECK), form.whole_number("check_setting", "The setting")
    if setting_id is None:
        form.add_error("check_setting", "No setting selected. Choose the setting that is run as a check.")
    if new is not None and setting_id is not None:
        with form.attempt(session):
            mark_check_unit(session, room_id, setting_id, new, who=new.noted_by)
            return _back(room_id)
    if "valid_from" in form.errors:
        form.errors[f"{_CHECK}valid_from"] = form.errors.pop("valid_from")
    return _again(session, render, room_id, form)


@router.post("/rooms/{room_id}/check-unit/{mark_id}/take-back")
def check_unit_removed(
    room_id: Id, mark_id: Id, session: SessionDep, render: RenderDep, form: TypedFormDep
) -> Response:
    with form.attempt(session):
        delete_check_unit(session, mark_id, who=form.text("who"), why=form.text("why"))
        return _back(room_id)
    return _again(session, render, room_id, form)


def _back(room_id: int) -> Response:
    return RedirectResponse(f"/rooms/{room_id}/control", 303)


def _again(session: Session, render: RenderDep, room_id: int, form: TypedForm) -> Response:
    page = _page(session, room_charts(SnapshotSource(current_snapshot(session)), get_room(session, room_id)), form)
    return render(TEMPLATE, page, charts=True, status_code=422)


def _new_form() -> TypedForm:
    today = datetime.now(UTC).date()
    return empty_form(changed_on=today, check_valid_from=today)


def _page(session: Session, charts: RoomCharts, form: TypedForm, asked: TypedForm | None = None) -> ControlPage:
    """asked : the query"""
    key, room = charts.key, charts.room
    query = {} if asked is None else asked.values
    all_runs = query.get("runs") == ["all"]
    channels = dict.fromkeys((key.channel, *(one.channel for one in charts.offered)))
    aerosols = dict.fromkeys((key.aerosol, *(one.aerosol for one in charts.offered)))
    marks = check_units_of_room(session, room.id)
    chosen, tried = form.typed("check_setting"), settings_in_room(current_snapshot(session), room.id)
    return ControlPage(
        title=f"Control chart of {room.name}",
        room_id=room.id,
        answer=chart_finding(charts.natural_decay, NATURAL_TERMS),
        form=form,
        channels=[Choice(name, channel(name).label, name == key.channel) for name in channels],
        aerosols=[Choice(name, name, name == key.aerosol) for name in aerosols],
        charts=[_shown(charts, of, all_runs=all_runs) for of in CHARTS],
        switches=_switches(charts, query, all_runs=all_runs),
        is_indicative=is_indicative(key.channel),
        removed_words=removed_words(charts.left_out),
        without_rate_words=_without_rate(charts.check_runs_without_rate),
        study_words=CONTROL_CHART_WORDS,
        changes=[EntryLine(change.id, change_in_words(change)) for change in reversed(charts.changes)],
        check_units=[
            EntryLine(mark.check_unit.id, f"{mark.name}, from {mark.check_unit.valid_from.isoformat()}")
            for mark in reversed(marks)
        ],
        fewest_check_runs=FEWEST_CHECK_RUNS,
        settings=[
            Choice("", "choose one", not chosen),
            *(Choice(str(id_), name, str(id_) == chosen) for id_, name in tried),
        ],
    )


def _without_rate(runs: int) -> str:
    if not runs:
        return ""
    return (
        f"{counted(runs, 'run of the check unit', 'runs of the check unit')} without a clean air delivery rate: this "
        "channel and aerosol need an empty-room run."
    )


def _switches(charts: RoomCharts, query: Mapping[str, Sequence[str]], *, all_runs: bool) -> list[Switch]:
    """Between the latest runs and all, where there are more."""
    most = max(len(charts.chart(of).points) for of in CHARTS)
    if most <= LATEST_RUNS:
        return []
    options = ((f"latest {LATEST_RUNS}", None, not all_runs), (f"all {most}", "all", all_runs))
    path = f"/rooms/{charts.room.id}/control"
    return [Switch("Runs drawn", tuple((words, address(path, query, runs=runs), on) for words, runs, on in options))]


def _shown(charts: RoomCharts, of: str, *, all_runs: bool) -> ShownChart:
    chart, terms = charts.chart(of), _TERMS[of]
    asked = {"room": charts.room.id, "of": of, "channel": charts.key.channel, "aerosol": charts.key.aerosol}
    if all_runs:
        asked["runs"] = "all"
    outside = chart.outside
    return ShownChart(
        heading=f"{terms.what[:1].upper()}{terms.what[1:]}",
        query=urlencode(asked),
        is_empty=not chart.points,
        has_average=any(point.ewma is not None for point in chart.points),
        finding=chart_finding(chart, terms),
        chart_words=control_text(charts, of),
        ewma_words=ewma_text(charts, of, None if all_runs else LATEST_RUNS),
        shifts=[ShiftLine(shift_words(shift, terms), shift_advice(shift)) for shift in reversed(chart.shifts)],
        outside=_latest_outside(outside, terms),
        outside_words=f"The latest {_MOST_POINTS} of {len(outside)}" if len(outside) > _MOST_POINTS else "Newest first",
        to_do=terms.to_do,
    )


def _latest_outside(outside: Sequence[ChartPoint], terms: ChartTerms) -> list[OutsideRun]:
    """Newest first."""
    return [
        OutsideRun(point.run.run_id, day_of(point.run.day).isoformat(), point_words(point, terms), point.in_reference)
        for point in reversed(outside[-_MOST_POINTS:])
    ]
