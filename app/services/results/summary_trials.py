"""Stored results of trials with a unit running, grouped by setting, channel, aerosol and room."""

from collections import defaultdict
from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime
from functools import cache
from typing import Any, NamedTuple

from sqlalchemy import Select, case, func, select
from sqlalchemy.orm import Session

from app.compute.statistics.measured import Measured
from app.services.logs.trial_fields import UNIT_RUNNING
from app.services.results.rows import stored_measured
from app.storage.models.bench import Bench
from app.storage.models.rooms_and_loggers import Room, SmokeSource
from app.storage.models.trials import ChannelResult, ResultNote, Trial
from app.storage.models.units_under_test import UnitUnderTest


class GroupKey(NamedTuple):
    """Key of one summary."""

    setting_id: int
    room_id: int
    aerosol: str
    channel: str


@dataclass(frozen=True, slots=True)
class SummaryTrial:
    """The fields of one trial that a summary needs.

    total_decay : with its whole uncertainty; humidity_uncertainty_per_h : the part of it that repeats share
    clear_key : kind and value of its clear level
    """

    trial_id: int
    unit_under_test_id: int
    started_at: datetime
    excluded: bool
    usable: bool
    total_decay: Measured | None
    humidity_uncertainty_per_h: float
    pool_id: int | None
    start_level: float
    clear_level: float
    clear_key: tuple[str, float]
    cleared: bool
    time_to_clear_min: float | None
    time_to_clear_uncertainty_min: float | None
    not_cleared_before_min: float | None
    worst_severity: str
    volume: Measured


_SEVERITIES = ("fine", "care", "unusable")


def read_summary_trials(
    session: Session, setting_ids: Collection[int] | None = None
) -> dict[GroupKey, list[SummaryTrial]]:
    """All trials outside the trash with their results, oldest first in each group; of some settings, or of all."""
    bench = session.get_one(Bench, 1)
    query = _query()
    if setting_ids is not None:
        query = query.where(Trial.setting_id.in_(setting_ids))
    groups: dict[GroupKey, list[SummaryTrial]] = defaultdict(list)
    for row in session.execute(query):
        # a trial without a smoke source counts as smoke
        key = GroupKey(row.setting_id, row.room_id, row.aerosol or "smoke", row.channel)
        groups[key].append(
            SummaryTrial(
                trial_id=row.id,
                unit_under_test_id=row.unit_under_test_id,
                started_at=row.started_at,
                excluded=row.excluded_at is not None,
                usable=row.usable,
                total_decay=stored_measured(
                    row.total_decay_per_h, row.total_decay_uncertainty_per_h, row.total_decay_degrees_of_freedom
                ),
                humidity_uncertainty_per_h=row.humidity_uncertainty_per_h or 0.0,
                pool_id=row.pool_id,
                start_level=row.start_level,
                clear_level=row.clear_level,
                clear_key=(
                    row.clear_level_kind or bench.clear_level_kind,
                    bench.clear_level_value if row.clear_level_value is None else row.clear_level_value,
                ),
                cleared=row.cleared,
                time_to_clear_min=row.time_to_clear_min,
                time_to_clear_uncertainty_min=row.time_to_clear_uncertainty_min,
                not_cleared_before_min=row.not_cleared_before_min,
                worst_severity=_SEVERITIES[row.rank or 0],
                volume=Measured(row.room_volume_m3, row.room_volume_uncertainty_m3),
            )
        )
    return groups


@cache
def _query() -> Select[*tuple[Any, ...]]:
    """Cached: building the statement takes longer than running it for one setting."""
    rank = case({name: place for place, name in enumerate(_SEVERITIES)}, value=ResultNote.severity, else_=0)
    worst = select(ResultNote.result_id, func.max(rank).label("rank")).group_by(ResultNote.result_id).subquery("worst")
    return (
        select(
            Trial.setting_id,
            Trial.room_id,
            SmokeSource.aerosol,
            ChannelResult.channel,
            Trial.id,
            Trial.unit_under_test_id,
            Trial.started_at,
            Trial.excluded_at,
            Trial.clear_level_kind,
            Trial.clear_level_value,
            ChannelResult.usable,
            ChannelResult.total_decay_per_h,
            ChannelResult.total_decay_uncertainty_per_h,
            ChannelResult.total_decay_degrees_of_freedom,
            ChannelResult.humidity_uncertainty_per_h,
            ChannelResult.pool_id,
            ChannelResult.start_level,
            ChannelResult.clear_level,
            ChannelResult.cleared,
            ChannelResult.time_to_clear_min,
            ChannelResult.time_to_clear_uncertainty_min,
            ChannelResult.not_cleared_before_min,
            worst.c.rank,
            Room.room_volume_m3,
            Room.room_volume_uncertainty_m3,
        )
        .join(ChannelResult, ChannelResult.trial_id == Trial.id)
        .join(Room, Room.id == Trial.room_id)
        .join(UnitUnderTest, UnitUnderTest.id == Trial.unit_under_test_id)
        .outerjoin(SmokeSource, SmokeSource.id == Trial.smoke_source_id)
        .outerjoin(worst, worst.c.result_id == ChannelResult.id)
        .where(Trial.kind == UNIT_RUNNING, Trial.trashed_at.is_(None))
        .order_by(Trial.started_at, Trial.id)
    )
