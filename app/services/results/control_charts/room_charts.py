"""The control charts of a room: its natural decay, and beside it the check unit."""

from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import cache
from typing import Any, TypeVar

from sqlalchemy import Select, bindparam, func, or_, select
from sqlalchemy.orm import Session

from app.compute.control_charts.chart import ControlChart, Phase, control_chart
from app.compute.control_charts.limits import ChartRun
from app.compute.control_charts.reference import ReferencePeriod
from app.errors import InvalidValue
from app.services.logs.trial_kinds import EMPTY_ROOM
from app.services.results.control_charts.key import ChartKey
from app.services.results.control_charts.runs import (
    CheckRun,
    aerosol_of_run,
    check_runs,
    first_moment,
    natural_runs,
)
from app.storage.models.bench import Bench
from app.storage.models.loggers import SmokeSource
from app.storage.models.rooms import Room, RoomChange
from app.storage.models.trials import ChannelResult, Trial

NATURAL_DECAY, CHECK_UNIT = "natural-decay", "check-unit"
CHARTS = (NATURAL_DECAY, CHECK_UNIT)


@dataclass(frozen=True, slots=True)
class OfferedRuns:
    """A channel and aerosol for which the room has empty-room runs, and their number."""

    channel: str
    aerosol: str
    runs: int


@dataclass(frozen=True, slots=True)
class RoomCharts:
    """Both charts of a room for one channel and aerosol.

    natural_decay : [1/h];  check_unit : clean air delivery rate [m³/h]
    check_runs_without_rate : runs of the check unit that have no clean air delivery rate
    changes : of the room, oldest first
    left_out : trials excluded or deleted that lie in a reference period of the natural decay, so that its limits were
        computed without them
    """

    room: Room
    key: ChartKey
    offered: tuple[OfferedRuns, ...]
    natural_decay: ControlChart
    check_unit: ControlChart
    check_runs_without_rate: int
    changes: tuple[RoomChange, ...]
    left_out: tuple[int, ...]

    def chart(self, name: str) -> ControlChart:
        return self.check_unit if name == CHECK_UNIT else self.natural_decay


T = TypeVar("T")
K = TypeVar("K", bound=Hashable)


class Source:
    """Reads the runs of a room, and makes their charts; a snapshot has one that remembers them."""

    def __init__(self, session: Session) -> None:
        self.session = session

    def read(self, function: Callable[[Session, K], T], asked: K) -> T:
        return function(self.session, asked)

    def chart(self, runs: tuple[ChartRun, ...], periods: tuple[ReferencePeriod, ...]) -> ControlChart:
        return control_chart(runs, periods)


def room_charts(source: Source, room: Room, channel: str = "", aerosol: str = "") -> RoomCharts:
    """The charts of a room. Without a channel or aerosol those with most empty-room runs, the main channel first.

    Raises InvalidValue for a channel or aerosol without runs, naming the field.
    """
    session = source.session
    offered = source.read(_offered, room.id)
    key = _chosen(session, room.id, offered, channel, aerosol)
    changes = read_changes(session, room.id)
    natural = natural_chart(source, key, changes)
    checks = source.read(_checks, key)
    own = [run for run in map(_chart_run, checks) if run is not None]
    return RoomCharts(
        room=room,
        key=key,
        offered=offered,
        natural_decay=natural,
        check_unit=source.chart(tuple(own), (*periods_of(changes), *_of_marks(checks))),
        check_runs_without_rate=len(checks) - len(own),
        changes=changes,
        left_out=_left_out(session, key, natural.phases),
    )


def natural_chart(source: Source, key: ChartKey, changes: Sequence[RoomChange] | None = None) -> ControlChart:
    """The chart of the natural decay alone. `changes` : of the room, read if not given"""
    known = read_changes(source.session, key.room_id) if changes is None else changes
    return source.chart(source.read(natural_runs, key), tuple(periods_of(known)))


def _checks(session: Session, key: ChartKey) -> tuple[CheckRun, ...]:
    return tuple(check_runs(session, [key.room_id]).get(key, ()))


def read_changes(session: Session, room_id: int) -> tuple[RoomChange, ...]:
    """Changes of a room, oldest first."""
    return tuple(session.scalars(_changes(), {"room_id": room_id}))


@cache
def _changes() -> Select[RoomChange]:
    """Cached: building the statement takes longer than running it."""
    asked = select(RoomChange).where(RoomChange.room_id == bindparam("room_id"))
    return asked.order_by(RoomChange.changed_on, RoomChange.id)


def periods_of(changes: Sequence[RoomChange]) -> list[ReferencePeriod]:
    """Reference periods that changes began, one for each day; the last entry of a day counts."""
    by_day = {change.changed_on: change for change in changes if change.new_limits}
    return [
        ReferencePeriod(
            first_moment(day),
            None if change.reference_until is None else first_moment(change.reference_until) + 1.0,
        )
        for day, change in sorted(by_day.items())
    ]


def _of_marks(runs: Sequence[CheckRun]) -> list[ReferencePeriod]:
    """A new check unit has a reference of its own, from its first run on."""
    firsts = {run.mark_id: run.day for run in reversed(runs)}
    return [ReferencePeriod(day) for day in sorted(firsts.values())[1:]]


def _chart_run(run: CheckRun) -> ChartRun | None:
    """Its clean air delivery rate, with the uncertainty of its own fit alone: volume and natural decay are shared."""
    if run.clean_air_m3_per_h is None:
        return None
    own = run.total_decay.uncertainty * run.room_volume_m3
    return ChartRun(run.trial_id, run.day, run.clean_air_m3_per_h, own)


def _offered(session: Session, room_id: int) -> tuple[OfferedRuns, ...]:
    found = [OfferedRuns(*row) for row in session.connection().execute(_offers(), {"room_id": room_id})]
    return tuple(sorted(found, key=lambda one: (-one.runs, one.channel, one.aerosol)))


@cache
def _offers() -> Select[*tuple[Any, ...]]:
    return (
        select(ChannelResult.channel, aerosol_of_run, func.count())
        .join_from(Trial, ChannelResult, ChannelResult.trial_id == Trial.id)
        .outerjoin(SmokeSource, SmokeSource.id == Trial.smoke_source_id)
        .where(
            Trial.room_id == bindparam("room_id"),
            Trial.kind == EMPTY_ROOM,
            Trial.trashed_at.is_(None),
            Trial.excluded_at.is_(None),
            ChannelResult.usable == True,  # noqa: E712  # a column, not a truth value
        )
        .group_by(ChannelResult.channel, aerosol_of_run)
    )


def _chosen(session: Session, room_id: int, offered: Sequence[OfferedRuns], channel: str, aerosol: str) -> ChartKey:
    main = session.scalar(select(Bench.main_channel)) or "pm2_5"
    for field, value, known in (
        ("channel", channel, {one.channel for one in offered} | {main}),
        ("aerosol", aerosol, {one.aerosol for one in offered} | {"smoke"}),
    ):
        if value and value not in known:
            raise InvalidValue(
                f"This room has no empty-room run with the {field} {value!r}; choose one of: "
                f"{', '.join(sorted(known))}.",
                field=field,
            )
    fitting = [one for one in offered if channel in ("", one.channel) and aerosol in ("", one.aerosol)]
    best = min(fitting, key=lambda one: (one.channel != main, -one.runs), default=None)
    if best is None:
        return ChartKey(room_id, channel or main, aerosol or "smoke")
    return ChartKey(room_id, best.channel, best.aerosol)


def _left_out(session: Session, key: ChartKey, phases: Sequence[Phase]) -> tuple[int, ...]:
    found: list[int] = []
    for phase in phases:
        days = [point.run.day for point in phase.points if point.in_reference]
        if phase.limits is None or not days:
            continue
        first, last = (datetime.fromtimestamp(day * 86400, UTC) for day in (days[0], days[-1]))
        between = {"room_id": key.room_id, "aerosol": key.aerosol, "first": first, "last": last}
        found += sorted(session.connection().scalars(_removed(), between))
    return tuple(found)


@cache
def _removed() -> Select[int]:
    """Runs of a span of time that are excluded or in the trash. Without an order, for which SQLite would go through all
    trials of the bench instead of those of the room.
    """
    return (
        select(Trial.id)
        .outerjoin(SmokeSource, SmokeSource.id == Trial.smoke_source_id)
        .where(
            Trial.room_id == bindparam("room_id"),
            Trial.kind == EMPTY_ROOM,
            aerosol_of_run == bindparam("aerosol"),
            Trial.started_at.between(bindparam("first"), bindparam("last")),
            or_(Trial.trashed_at.is_not(None), Trial.excluded_at.is_not(None)),
        )
    )
