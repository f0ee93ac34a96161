"""Control charts of a room, its changes and its check units."""

from datetime import date, datetime
from typing import Annotated, Any, Literal

from fastapi import Query
from pydantic import BaseModel, Field
from sqlalchemy.orm import Session

from app.compute.control_charts.chart import ChartPoint, ControlChart, Phase, Shift
from app.compute.statistics.measured import Measured
from app.compute.study_figures import CONTROL_CHART_WORDS
from app.services.bench.definitions import NewCheckUnit, NewRoomChange
from app.services.bench.room_changes import add_room_change, check_units_of_room, mark_check_unit
from app.services.bench.rooms import get_room
from app.services.results.control_charts.room_charts import CHECK_UNIT, NATURAL_DECAY, read_changes, room_charts
from app.services.results.control_charts.words import (
    CHECK_TERMS,
    NATURAL_TERMS,
    ChartTerms,
    chart_finding,
    day_of,
    shift_advice,
    shift_words,
)
from app.services.snapshot.bench_snapshot import current_snapshot
from app.services.snapshot.room_charts import SnapshotSource
from app.services.store.entry_fields import entry_from
from app.web.api.derived import answer, body
from app.web.api.shapes import LARGEST_ID, FromStore, Id, MeasuredShape, OfBench, RequestBody, of_bench, problem_answers
from app.web.dependencies import SessionDep
from app.web.routers import api_router

router = api_router("rooms")


class LimitsShape(BaseModel):
    """Limits of a reference period. `spread` is the standard deviation between runs beyond their own uncertainties.

    shewhart_sigmas, ewma_sigmas : half-widths in standard deviations, from Student's t with `degrees_of_freedom`
    """

    reference_trials: list[int]
    centre: MeasuredShape
    spread: float
    degrees_of_freedom: float
    shewhart_sigmas: float
    ewma_sigmas: float


class PhaseShape(BaseModel):
    """Runs from one reference period to the next; `limits` is null while the period has too few runs."""

    first_on: date
    limits: LimitsShape | None
    reference_runs: int
    reference_runs_needed: int
    reference_runs_missing: int


class PointShape(BaseModel):
    """One run; its uncertainty is that of its own fit. Its limits, score and moving average are null without limits."""

    trial_id: int
    on: date
    value: MeasuredShape
    in_reference: bool
    low: float | None
    high: float | None
    score: float | None
    moving_average: float | None
    moving_average_limit: float | None
    outside: bool
    moving_average_outside: bool


class ShiftShape(BaseModel):
    """A lasting change. `ended_on` is null while it lasts; `advice` says what to do."""

    first_on: date
    found_on: date
    found_with_trial: int
    ended_on: date | None
    change: MeasuredShape
    words: str
    advice: str


class ChartShape(BaseModel):
    """One control chart; all values in `unit`."""

    unit: Literal["1/h", "m³/h"]
    finding: str
    phases: list[PhaseShape]
    points: list[PointShape]
    shifts: list[ShiftShape]


class ControlChartsShape(OfBench):
    """Both charts of a room. `left_out_trials` were removed from a reference period, so that its limits changed;
    `check_runs_without_rate` are runs of the check unit that have no clean air delivery rate.
    """

    room_id: int
    channel: str
    aerosol: str
    natural_decay_per_h: ChartShape
    check_unit_m3_per_h: ChartShape
    left_out_trials: list[int]
    check_runs_without_rate: int
    method: str


@answer(NewRoomChange)
class RoomChangeShape(FromStore):
    """A change of a room, with the time at which it was stored."""

    id: int
    room_id: int
    created_at: datetime


class StoredRoomChange(RoomChangeShape, OfBench):
    pass


class RoomChangeList(OfBench):
    changes: list[RoomChangeShape]


@body(NewRoomChange)
class AskedRoomChange(RequestBody):
    """A change of a room; with `new_limits` its control charts begin a reference period on that day."""


@answer(NewCheckUnit)
class CheckUnitShape(FromStore):
    """A check unit of a room from a day on, until the next."""

    id: int
    room_id: int
    setting_id: int
    unit_id: int
    name: str


class StoredCheckUnit(CheckUnitShape, OfBench):
    pass


class CheckUnitList(OfBench):
    check_units: list[CheckUnitShape]


@body(NewCheckUnit)
class AskedCheckUnit(RequestBody):
    """The setting that is run every few weeks; the clean air delivery rates of the room are computed again."""

    setting_id: Annotated[int, Field(ge=1, le=LARGEST_ID, description="Id of a speed setting of the unit")]


@router.get("/rooms/{room_id}/control-charts", responses=problem_answers(404))
def control_charts(
    room_id: Id,
    session: SessionDep,
    channel: Annotated[str, Query(description="Such as pm2_5; empty for the main channel")] = "",
    aerosol: Annotated[str, Query(description="smoke, dust or pollen; empty for the one with most runs")] = "",
) -> ControlChartsShape:
    """Natural decay and check unit over time, with limits, runs outside them and shifts."""
    charts = room_charts(SnapshotSource(current_snapshot(session)), get_room(session, room_id), channel, aerosol)
    return ControlChartsShape(
        room_id=room_id,
        channel=charts.key.channel,
        aerosol=charts.key.aerosol,
        natural_decay_per_h=_chart(charts.chart(NATURAL_DECAY), NATURAL_TERMS, "1/h"),
        check_unit_m3_per_h=_chart(charts.chart(CHECK_UNIT), CHECK_TERMS, "m³/h"),
        left_out_trials=list(charts.left_out),
        check_runs_without_rate=charts.check_runs_without_rate,
        method=CONTROL_CHART_WORDS,
        **of_bench(session),
    )


@router.get("/rooms/{room_id}/changes", responses=problem_answers(404))
def room_changes(room_id: Id, session: SessionDep) -> RoomChangeList:
    """Changes of a room, oldest first."""
    get_room(session, room_id)
    rows = read_changes(session, room_id)
    return RoomChangeList(changes=[RoomChangeShape.model_validate(row) for row in rows], **of_bench(session))


@router.post("/rooms/{room_id}/changes", status_code=201, responses=problem_answers(400, 404))
def room_change_added(room_id: Id, session: SessionDep, asked: AskedRoomChange) -> StoredRoomChange:
    """Adds a change of a room."""
    new = entry_from(NewRoomChange, asked)
    change_id = add_room_change(session, room_id, new, who=new.noted_by)
    row = next(row for row in read_changes(session, room_id) if row.id == change_id)
    return StoredRoomChange.of(row, **of_bench(session))


@router.get("/rooms/{room_id}/check-units", responses=problem_answers(404))
def check_units(room_id: Id, session: SessionDep) -> CheckUnitList:
    """Check units of a room, oldest first; each is replaced by the next."""
    get_room(session, room_id)
    return CheckUnitList(check_units=_check_units(session, room_id), **of_bench(session))


@router.post("/rooms/{room_id}/check-units", status_code=201, responses=problem_answers(400, 404, 409))
def check_unit_marked(room_id: Id, session: SessionDep, asked: AskedCheckUnit) -> StoredCheckUnit:
    """Marks a setting as the check unit of a room from a day on."""
    new = entry_from(NewCheckUnit, asked)
    mark_id = mark_check_unit(session, room_id, asked.setting_id, new, who=new.noted_by)
    stored = next(one for one in _check_units(session, room_id) if one.id == mark_id)
    return StoredCheckUnit(**stored.model_dump(), **of_bench(session))


def _check_units(session: Session, room_id: int) -> list[CheckUnitShape]:
    return [
        CheckUnitShape.of(named.check_unit, unit_id=named.unit_id, name=named.name)
        for named in check_units_of_room(session, room_id)
    ]


def _chart(chart: ControlChart, terms: ChartTerms, unit: Literal["1/h", "m³/h"]) -> ChartShape:
    return ChartShape.model_validate(
        {
            "unit": unit,
            "finding": chart_finding(chart, terms),
            "phases": [_phase(phase) for phase in chart.phases],
            "points": [_point(point) for point in chart.points],
            "shifts": [_shift(shift, terms) for shift in chart.shifts],
        }
    )


def _phase(phase: Phase) -> PhaseShape:
    limits = phase.limits
    return PhaseShape(
        first_on=day_of(phase.points[0].run.day),
        limits=None
        if limits is None
        else LimitsShape(
            reference_trials=list(limits.run_ids),
            centre=MeasuredShape.of(Measured(limits.centre, limits.centre_uncertainty, limits.degrees_of_freedom)),
            spread=limits.spread,
            degrees_of_freedom=limits.degrees_of_freedom,
            shewhart_sigmas=limits.shewhart_sigmas,
            ewma_sigmas=limits.ewma_sigmas,
        ),
        reference_runs=phase.found,
        reference_runs_needed=phase.needed,
        reference_runs_missing=max(0, phase.needed - phase.found),
    )


def _point(point: ChartPoint) -> dict[str, Any]:
    """A `PointShape` as plain values, because thousands of them are checked together in half the time."""
    value = Measured(point.run.value, point.run.uncertainty)
    return {
        "trial_id": point.run.run_id,
        "on": day_of(point.run.day),
        "value": {
            "value": value.value,
            "uncertainty": value.uncertainty,
            "low_95": value.low_95,
            "high_95": value.high_95,
        },
        "in_reference": point.in_reference,
        "low": point.low,
        "high": point.high,
        "score": point.score,
        "moving_average": point.ewma,
        "moving_average_limit": point.ewma_limit,
        "outside": point.outside,
        "moving_average_outside": point.ewma_outside,
    }


def _shift(shift: Shift, terms: ChartTerms) -> ShiftShape:
    return ShiftShape(
        first_on=day_of(shift.first.day),
        found_on=day_of(shift.found.day),
        found_with_trial=shift.found.run_id,
        ended_on=None if shift.ended is None else day_of(shift.ended.day),
        change=MeasuredShape.of(shift.change),
        words=shift_words(shift, terms),
        advice=shift_advice(shift),
    )
