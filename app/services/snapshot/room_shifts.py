"""Shifts of the natural decay of a room, and the settings whose trials lie on both sides of one."""

from collections.abc import Sequence
from typing import NamedTuple

from sqlalchemy import bindparam, column, func, select, table

from app.compute.control_charts.reference import FEWEST_REFERENCE_RUNS
from app.compute.statistics.measured import Measured
from app.services.logs.trial_kinds import EMPTY_ROOM
from app.services.results.control_charts.key import ChartKey
from app.services.snapshot.bench_snapshot import BenchSnapshot

_TRIALS = table("trials", column("kind"), column("room_id"))  # no model: the first page would wait until it is mapped

_EMPTY_ROOM_RUNS = (
    select(func.count())
    .select_from(_TRIALS)
    .where(_TRIALS.c.kind == EMPTY_ROOM, _TRIALS.c.room_id == bindparam("room_id"))
)


class RoomShift(NamedTuple):
    """A shift found by the control chart of a room; days as ISO text. `ended_on` is None while it lasts."""

    room_id: int
    channel: str
    aerosol: str
    first_on: str
    ended_on: str | None
    change_per_h: Measured

    @property
    def words(self) -> str:
        from app.services.results.control_charts.words import change_text  # loaded when used, as below

        return (
            f"Trials on both sides of a shift of the room: natural decay {change_text(self.change_per_h, 'per hour')} "
            f"since about {self.first_on}" + (f", until {self.ended_on}" if self.ended_on else "")
        )

    @property
    def short_words(self) -> str:
        return f"straddles a room shift of {self.first_on}"


def room_shifts(snapshot: BenchSnapshot, key: ChartKey) -> tuple[RoomShift, ...]:
    """Shifts of the natural decay of a room, oldest first."""
    return snapshot.view(_read, key)


def _read(snapshot: BenchSnapshot, key: ChartKey) -> tuple[RoomShift, ...]:
    empty_room_runs = snapshot.session.connection().execute(_EMPTY_ROOM_RUNS, {"room_id": key.room_id})
    if empty_room_runs.scalar_one() <= FEWEST_REFERENCE_RUNS:
        return ()  # there are no limits yet
    from app.services.results.control_charts.room_charts import (
        natural_chart,  # loaded when used: it maps the tables of trials
    )
    from app.services.results.control_charts.words import day_of
    from app.services.snapshot.room_charts import SnapshotSource

    return tuple(
        RoomShift(
            *key,
            day_of(shift.first.day).isoformat(),
            None if shift.ended is None else day_of(shift.ended.day).isoformat(),
            shift.change,
        )
        for shift in natural_chart(SnapshotSource(snapshot), key).shifts
    )


def straddled_shift(shifts: Sequence[RoomShift], first_on: str | None, latest_on: str | None) -> RoomShift | None:
    """The latest shift whose beginning or end lies between the first and the last trial of a setting.

    >>> shift = RoomShift(1, "pm2_5", "smoke", "2026-03-01", None, Measured(0.2, 0.03))
    >>> straddled_shift([shift], "2026-02-01", "2026-03-01") is shift
    True
    >>> straddled_shift([shift], "2026-03-01", "2026-04-01")
    """
    if first_on is None or latest_on is None:
        return None
    for shift in reversed(shifts):
        if any(day is not None and first_on < day <= latest_on for day in (shift.first_on, shift.ended_on)):
            return shift
    return None
