"""The runs of a control chart: empty-room runs of a room, and runs of its check unit."""

from bisect import bisect_right
from collections import defaultdict
from collections.abc import Iterable, Sequence
from datetime import UTC, date, datetime, time
from functools import cache
from typing import Any, NamedTuple

from sqlalchemy import Select, bindparam, func, select
from sqlalchemy.orm import Session

from app.compute.control_charts.limits import ChartRun
from app.compute.statistics.measured import Measured, measured_or_none
from app.services.logs.trial_kinds import EMPTY_ROOM
from app.services.results.control_charts.key import ChartKey
from app.storage.models.loggers import SmokeSource
from app.storage.models.rooms import CheckUnit, Room
from app.storage.models.trials import ChannelResult, Trial
from app.storage.models.units_under_test import UnitUnderTest

SMOKE = "smoke"  # aerosol of a run without a smoke source
aerosol_of_run = func.coalesce(SmokeSource.aerosol, SMOKE)


class _Mark(NamedTuple):
    """The check unit of a room from a day on."""

    id: int
    room_id: int
    setting_id: int
    valid_from: date


class CheckRun(NamedTuple):
    """A run of the check unit. mark_id : of the check unit that applied on that day"""

    trial_id: int
    mark_id: int
    day: float
    total_decay: Measured
    clean_air_m3_per_h: float | None
    room_volume_m3: float


def day_number(at: datetime) -> float:
    """Days since 1970-01-01, UTC."""
    return at.timestamp() / 86400


def first_moment(day: date) -> float:
    """The same for the beginning of a day, UTC."""
    return day_number(datetime.combine(day, time(), UTC))


def aerosol_of(session: Session, smoke_source_id: int | None) -> str:
    """Aerosol of a smoke source; smoke where none is named."""
    if smoke_source_id is None:
        return SMOKE
    return session.scalar(select(SmokeSource.aerosol).where(SmokeSource.id == smoke_source_id)) or SMOKE


def natural_runs(session: Session, key: ChartKey) -> tuple[ChartRun, ...]:
    """Usable empty-room runs, with the decay rate and its own uncertainty [1/h]."""
    rows = session.connection().execute(_natural_query(), key._asdict()).all()
    return tuple([ChartRun(trial_id, day_number(at), value, own) for trial_id, at, value, own in rows])


def check_runs(session: Session, room_ids: Iterable[int] | None = None) -> dict[ChartKey, list[CheckRun]]:
    """Usable runs of the check units of some rooms, or of all, in order of time."""
    marks = _marks(session, room_ids)
    if not marks:
        return {}
    rows = session.execute(
        _check_query().where(
            Trial.room_id.in_(marks), Trial.setting_id.in_({m.setting_id for each in marks.values() for m in each})
        )
    )
    found: dict[ChartKey, list[CheckRun]] = defaultdict(list)
    for row in rows:
        mark = mark_on(marks[row.room_id], row.started_at.date())
        rate = measured_or_none(
            row.total_decay_per_h, row.total_decay_uncertainty_per_h, row.total_decay_degrees_of_freedom
        )
        if mark is not None and mark.setting_id == row.setting_id and rate is not None:
            run = CheckRun(
                row.id,
                mark.id,
                day_number(row.started_at),
                rate,
                row.clean_air_delivery_rate_m3_per_h,
                row.room_volume_m3,
            )
            found[ChartKey(row.room_id, row.channel, row.aerosol)].append(run)
    return found


def mark_on(marks: Sequence[_Mark], day: date) -> _Mark | None:
    """The check unit on a day: the latest that began by then. `marks` : of one room, oldest first."""
    place = bisect_right([mark.valid_from for mark in marks], day)
    return marks[place - 1] if place else None


def _marks(session: Session, room_ids: Iterable[int] | None) -> dict[int, list[_Mark]]:
    session.flush()
    query = _marks_query()
    if room_ids is not None:
        query = query.where(CheckUnit.room_id.in_(list(room_ids)))
    marks: dict[int, list[_Mark]] = defaultdict(list)
    for row in session.connection().execute(query):  # plain rows are read faster than objects
        marks[row.room_id].append(_Mark._make(row))
    return marks


@cache
def _marks_query() -> Select[*tuple[Any, ...]]:
    return select(*(getattr(CheckUnit, name) for name in _Mark._fields)).order_by(CheckUnit.valid_from)


@cache
def _natural_query() -> Select[*tuple[Any, ...]]:
    """Cached, as `_check_query` is."""
    return _usable(_NATURAL).where(
        Trial.kind == EMPTY_ROOM,
        Trial.room_id == bindparam("room_id"),
        ChannelResult.channel == bindparam("channel"),
        aerosol_of_run == bindparam("aerosol"),
    )


@cache
def _check_query() -> Select[*tuple[Any, ...]]:
    """Cached: building the statement takes longer than running it on a small bench."""
    return (
        _usable(_CHECK)
        .join(Room, Room.id == Trial.room_id)
        .join(UnitUnderTest, UnitUnderTest.id == Trial.unit_under_test_id)
        .where(UnitUnderTest.trashed_at.is_(None))
    )


_NATURAL = (
    Trial.id,
    Trial.started_at,
    ChannelResult.total_decay_per_h,
    ChannelResult.total_decay_uncertainty_per_h,
)
_CHECK = (
    Trial.id,
    Trial.room_id,
    Trial.setting_id,
    Trial.started_at,
    aerosol_of_run.label("aerosol"),
    ChannelResult.channel,
    ChannelResult.total_decay_per_h,
    ChannelResult.total_decay_uncertainty_per_h,
    ChannelResult.total_decay_degrees_of_freedom,
    ChannelResult.clean_air_delivery_rate_m3_per_h,
    Room.room_volume_m3,
)


def _usable(columns: tuple[Any, ...]) -> Select[*tuple[Any, ...]]:
    return (
        select(*columns)
        .join_from(Trial, ChannelResult, ChannelResult.trial_id == Trial.id)
        .outerjoin(SmokeSource, SmokeSource.id == Trial.smoke_source_id)
        .where(
            Trial.trashed_at.is_(None),
            Trial.excluded_at.is_(None),
            ChannelResult.usable == True,  # noqa: E712  # a column, not a truth value
            ChannelResult.total_decay_uncertainty_per_h > 0,
        )
        .order_by(Trial.started_at, Trial.id)
    )
