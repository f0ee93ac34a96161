"""Repeatability of this bench per channel: the assumed spread, updated by all repeats."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import asdict, fields
from datetime import datetime
from functools import cache
from typing import Any

from sqlalchemy import Select, delete, insert, select
from sqlalchemy.orm import Session

from app.compute.statistics.measured import Measured
from app.compute.statistics.repeatability import ASSUMED_BETWEEN_TRIALS, Repeatability, pooled_repeatability
from app.services.logs.trial_fields import UNIT_RUNNING
from app.services.results.rows import stored_measured, without_shared_part
from app.storage.models.rooms_and_loggers import SmokeSource
from app.storage.models.trials import BenchRepeatability, ChannelResult, Trial
from app.storage.models.units_under_test import UnitUnderTest


def refresh_repeatability(session: Session, now: datetime) -> tuple[dict[str, Repeatability], bool]:
    """Pools the repeats of the whole bench; returns the figure of each repeated channel, and whether one moved.

    Figures are in steps of 2 %, so that one more trial on a large bench seldom rewrites every summary.
    """
    connection = session.connection()  # plain statements are faster than ORM objects
    present = {channel: Repeatability(*figures) for channel, *figures in connection.execute(_PRESENT)}
    pooled = {channel: pooled_repeatability(groups) for channel, groups in _groups(session).items()}
    found = {channel: new.in_steps() for channel, new in sorted(pooled.items()) if new.groups}
    changed = [channel for channel in (present | found) if present.get(channel) != found.get(channel)]
    if changed:
        connection.execute(delete(BenchRepeatability).where(BenchRepeatability.channel.in_(changed)))
        rows = [{"channel": one, "computed_at": now, **asdict(found[one])} for one in changed if one in found]
        if rows:
            connection.execute(insert(BenchRepeatability), rows)
    return found, any(_used(present, channel) != _used(found, channel) for channel in changed)


FIGURES = tuple(field.name for field in fields(Repeatability))  # each field has a column of the same name
_PRESENT = select(BenchRepeatability.channel, *(getattr(BenchRepeatability, name) for name in FIGURES))


def _used(figures: Mapping[str, Repeatability], channel: str) -> tuple[float, float, bool]:
    """The part of a figure that summaries depend on."""
    figure = figures.get(channel, ASSUMED_BETWEEN_TRIALS)
    return figure.relative_sd, figure.degrees_of_freedom, figure.mostly_assumed


def _groups(session: Session) -> dict[str, list[Sequence[Measured]]]:
    groups: dict[tuple[int | None, int, str, str], list[Measured]] = defaultdict(list)
    for setting_id, room_id, aerosol, channel, value, uncertainty, degrees, shared in session.execute(_query()):
        rate = stored_measured(value, uncertainty, degrees)
        # errors that repeats share do not show between them
        rate = None if rate is None else without_shared_part(rate, shared or 0.0)
        if rate is not None and rate.uncertainty > 0:
            groups[setting_id, room_id, aerosol or "smoke", channel].append(rate)
    of_channel: dict[str, list[Sequence[Measured]]] = defaultdict(list)
    for (_, _, _, channel), rates in groups.items():
        of_channel[channel].append(rates)
    return of_channel


@cache
def _query() -> Select[*tuple[Any, ...]]:
    """Cached: building the statement takes longer than running it on a small bench."""
    return (
        select(
            Trial.setting_id,
            Trial.room_id,
            SmokeSource.aerosol,
            ChannelResult.channel,
            ChannelResult.total_decay_per_h,
            ChannelResult.total_decay_uncertainty_per_h,
            ChannelResult.total_decay_degrees_of_freedom,
            ChannelResult.humidity_uncertainty_per_h,
        )
        .join(ChannelResult, ChannelResult.trial_id == Trial.id)
        .join(UnitUnderTest, UnitUnderTest.id == Trial.unit_under_test_id)
        .outerjoin(SmokeSource, SmokeSource.id == Trial.smoke_source_id)
        .where(
            Trial.kind == UNIT_RUNNING,
            Trial.trashed_at.is_(None),
            UnitUnderTest.trashed_at.is_(None),
            Trial.excluded_at.is_(None),
            ChannelResult.usable == True,  # noqa: E712  # a column, not a truth value
        )
    )
