"""Repeatability of this bench per channel: the assumed spread, updated by all repeats."""

from collections.abc import Mapping
from dataclasses import asdict, fields
from datetime import datetime
from functools import cache
from typing import Any

import numpy as np
from sqlalchemy import Select, bindparam, delete, func, select
from sqlalchemy.orm import Session

from app.compute.decay.systematic import shared_parts
from app.compute.statistics.repeatability import ASSUMED_BETWEEN_TRIALS, Repeatability, pooled_from_columns
from app.services.logs.trial_kinds import UNIT_RUNNING
from app.services.results.rows import float_columns
from app.services.results.summary_trials import PARTS
from app.storage.inserts import insert_into
from app.storage.models.loggers import SmokeSource
from app.storage.models.summaries import BenchRepeatability
from app.storage.models.trials import ChannelResult, Trial
from app.storage.models.units_under_test import UnitUnderTest


def refresh_repeatability(session: Session, now: datetime) -> tuple[dict[str, Repeatability], bool]:
    """Pools the repeats of the whole bench; returns the figure of each repeated channel, and whether one moved.

    Figures are in steps of 2 %, so that one more trial on a large bench seldom rewrites every summary.
    """
    connection = session.connection()  # plain statements are faster than ORM objects
    present = {channel: Repeatability(*figures) for channel, *figures in connection.execute(_PRESENT)}
    found = {channel: new.in_steps() for channel, new in _pooled(session).items() if new.groups}
    changed = [channel for channel in (present | found) if present.get(channel) != found.get(channel)]
    if changed:
        connection.execute(_REMOVE, {"channels": changed})
        rows = [{"channel": one, "computed_at": now, **asdict(found[one])} for one in changed if one in found]
        if rows:
            connection.execute(insert_into(BenchRepeatability), rows)
    return found, any(_used(present, channel) != _used(found, channel) for channel in changed)


FIGURES = tuple(field.name for field in fields(Repeatability))  # each field has a column of the same name
_PRESENT = select(BenchRepeatability.channel, *(getattr(BenchRepeatability, name) for name in FIGURES))
_REMOVE = delete(BenchRepeatability).where(BenchRepeatability.channel.in_(bindparam("channels", expanding=True)))


def _used(figures: Mapping[str, Repeatability], channel: str) -> tuple[float, float, bool]:
    """The part of a figure that summaries depend on."""
    figure = figures.get(channel, ASSUMED_BETWEEN_TRIALS)
    return figure.relative_sd, figure.degrees_of_freedom, figure.mostly_assumed


def _pooled(session: Session) -> dict[str, Repeatability]:
    """The figure of each channel with a usable trial."""
    rows = session.connection().execute(_query()).all()
    if not rows:
        return {}
    columns = float_columns([row[4:] for row in rows])
    values, uncertainties = columns[:2]
    # errors that repeats share do not show between them
    own = np.sqrt(np.maximum(uncertainties**2 - shared_parts(*columns).total ** 2, 0.0))
    channels = np.array([row[3] for row in rows])
    number: dict[tuple[Any, ...], int] = {}
    group_of = np.array([number.setdefault(tuple(row[:4]), len(number)) for row in rows])
    found = {}
    for channel in sorted(set(channels.tolist())):
        of_channel = (channels == channel) & (own > 0)
        found[channel] = pooled_from_columns(values[of_channel], own[of_channel], group_of[of_channel])
    return found


@cache
def _query() -> Select[*tuple[Any, ...]]:
    """Cached: building the statement takes longer than running it on a small bench."""
    return (
        select(
            Trial.setting_id,
            Trial.room_id,
            func.coalesce(func.nullif(SmokeSource.aerosol, ""), "smoke"),
            ChannelResult.channel,
            ChannelResult.total_decay_per_h,
            *PARTS,
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
            ChannelResult.total_decay_per_h.is_not(None),
        )
    )
