"""Stored results of trials with a unit running, grouped by setting, channel, aerosol and room."""

import math
from collections import defaultdict
from collections.abc import Collection
from datetime import datetime
from functools import cache
from typing import Any, NamedTuple

from sqlalchemy import Double, Select, String, bindparam, case, func, select
from sqlalchemy.orm import Session

from app.compute.decay.systematic import shared_parts
from app.compute.statistics.measured import Measured, measured_or_none
from app.compute.statistics.shared_parts import SharedParts
from app.services.logs.trial_kinds import UNIT_RUNNING
from app.services.results.rows import float_columns
from app.storage.models.bench import Bench
from app.storage.models.loggers import SmokeSource
from app.storage.models.rooms import Room
from app.storage.models.trials import ChannelResult, NaturalDecayPool, ResultNote, Trial
from app.storage.models.units_under_test import UnitUnderTest

# Of `shared_parts`, the arguments after the rate.
PARTS = (
    ChannelResult.total_decay_uncertainty_per_h,
    ChannelResult.statistical_uncertainty_per_h,
    ChannelResult.window_sensitivity_per_h,
    ChannelResult.humidity_uncertainty_per_h,
    ChannelResult.warm_up_uncertainty_per_h,
    ChannelResult.curvature_uncertainty_per_h,
)
_RATE, _SHARE = 9, -len(PARTS) - 1  # places in a row of the query: decay rate with its two columns, check unit
_SEVERITIES = ("fine", "care", "unusable")


class GroupKey(NamedTuple):
    """Key of one summary."""

    setting_id: int
    room_id: int
    aerosol: str
    channel: str


class SummaryTrial(NamedTuple):
    """The fields of one trial that a summary needs, in the order of the query.

    total_decay : with its whole uncertainty [1/h]; shared : the parts of it that repeats share
    severity : 0 to 2, of its worst note
    check_unit_share : spread of the check unit of the room, over the rate
    """

    trial_id: int
    unit_under_test_id: int
    started_at: datetime
    excluded_at: datetime | None
    usable: bool
    total_decay: Measured | None
    logger_id: int | None
    pool_id: int | None
    start_level: float
    clear_level: float
    clear_level_kind: str
    clear_level_value: float
    cleared: bool
    time_to_clear_min: float | None
    time_to_clear_uncertainty_min: float | None
    not_cleared_before_min: float | None
    severity: int
    room_volume_m3: float
    room_volume_uncertainty_m3: float
    shared: SharedParts
    check_unit_share: float | None = None

    @property
    def volume(self) -> Measured:
        return Measured(self.room_volume_m3, self.room_volume_uncertainty_m3)

    @property
    def worst_severity(self) -> str:
        return _SEVERITIES[self.severity]


class StoredPool(NamedTuple):
    """Natural decay of a room in one week. [1/h]"""

    id: int
    natural_decay: Measured
    on_one_day: Measured | None
    between_run_sd_per_h: float


def read_summary_trials(
    session: Session, setting_ids: Collection[int] | None = None
) -> dict[GroupKey, list[SummaryTrial]]:
    """All trials outside the trash with their results, oldest first in each group; of some settings, or of all."""
    kind, value = default_clear_level(session)
    connection = session.connection()  # plain rows are read faster than ORM rows
    asked: dict[str, Any] = {"kind": kind, "value": value}
    if setting_ids is None:
        rows = connection.execute(_query(), asked).all()
    else:
        rows = connection.execute(_query_of_settings(), {**asked, "settings": list(setting_ids)}).all()
    parts = shared_parts(*float_columns([(row[_RATE], *row[-len(PARTS) :]) for row in rows])).rows() if rows else []
    groups: dict[GroupKey, list[SummaryTrial]] = defaultdict(list)
    for row, shared in zip(rows, parts, strict=True):
        total = measured_or_none(*row[_RATE : _RATE + 3])
        trial = SummaryTrial._make((*row[4:_RATE], total, *row[_RATE + 3 : _SHARE], shared, row[_SHARE]))
        groups[GroupKey._make(row[:4])].append(trial)
    return groups


def default_clear_level(session: Session) -> tuple[str, float]:
    """Of the bench."""
    session.flush()
    kind, value = session.connection().execute(_clear_level_query()).one()
    return kind, value


def read_pools(session: Session) -> dict[int, StoredPool]:
    found = {}
    rows = session.connection().execute(_pools_query())
    for pool_id, value, uncertainty, degrees, of_day, degrees_of_day, between_sd in rows:
        natural = Measured(value, uncertainty, math.inf if degrees is None else degrees)
        found[pool_id] = StoredPool(pool_id, natural, measured_or_none(value, of_day, degrees_of_day), between_sd)
    return found


@cache
def _pools_query() -> Select[*tuple[Any, ...]]:
    return select(
        NaturalDecayPool.id,
        NaturalDecayPool.natural_decay_per_h,
        NaturalDecayPool.uncertainty_per_h,
        NaturalDecayPool.degrees_of_freedom,
        NaturalDecayPool.on_one_day_uncertainty_per_h,
        NaturalDecayPool.on_one_day_degrees_of_freedom,
        NaturalDecayPool.between_run_sd_per_h,
    )


@cache
def _clear_level_query() -> Select[str, float]:
    return select(Bench.clear_level_kind, Bench.clear_level_value).where(Bench.id == 1)


@cache
def _query_of_settings() -> Select[*tuple[Any, ...]]:
    return _query().where(Trial.setting_id.in_(bindparam("settings", expanding=True)))


@cache
def _query() -> Select[*tuple[Any, ...]]:
    """Cached: building the statement takes longer than running it for one setting."""
    rank = case({name: place for place, name in enumerate(_SEVERITIES)}, value=ResultNote.severity, else_=0)
    worst = select(func.max(rank)).where(ResultNote.result_id == ChannelResult.id).scalar_subquery()
    return (
        select(
            Trial.setting_id,
            Trial.room_id,
            func.coalesce(func.nullif(SmokeSource.aerosol, ""), "smoke"),  # a trial without a source counts as smoke
            ChannelResult.channel,
            Trial.id,
            Trial.unit_under_test_id,
            Trial.started_at,
            Trial.excluded_at,
            ChannelResult.usable,
            ChannelResult.total_decay_per_h,
            ChannelResult.total_decay_uncertainty_per_h,
            ChannelResult.total_decay_degrees_of_freedom,
            Trial.logger_id,
            ChannelResult.pool_id,
            ChannelResult.start_level,
            ChannelResult.clear_level,
            func.coalesce(Trial.clear_level_kind, bindparam("kind", type_=String)),
            func.coalesce(Trial.clear_level_value, bindparam("value", type_=Double)),
            ChannelResult.cleared,
            ChannelResult.time_to_clear_min,
            ChannelResult.time_to_clear_uncertainty_min,
            ChannelResult.not_cleared_before_min,
            func.coalesce(worst, 0),
            Room.room_volume_m3,
            Room.room_volume_uncertainty_m3,
            ChannelResult.clean_air_delivery_rate_check_unit_share,
            *PARTS,
        )
        .join(ChannelResult, ChannelResult.trial_id == Trial.id)
        .join(Room, Room.id == Trial.room_id)
        .join(UnitUnderTest, UnitUnderTest.id == Trial.unit_under_test_id)
        .outerjoin(SmokeSource, SmokeSource.id == Trial.smoke_source_id)
        .where(Trial.kind == UNIT_RUNNING, Trial.trashed_at.is_(None))
        .order_by(Trial.started_at, Trial.id)
    )
