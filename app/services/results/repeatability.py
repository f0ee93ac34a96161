"""Repeatability of this bench per channel, pooled over all repeats; used for settings with few trials."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import asdict, fields
from datetime import datetime
from functools import cache
from typing import Any

from sqlalchemy import Select, delete, insert, select
from sqlalchemy.orm import Session

from app.compute.statistics.measured import Measured
from app.compute.statistics.repeatability import Repeatability, pooled_repeatability
from app.services.logs.trial_fields import UNIT_RUNNING
from app.services.results.rows import stored_measured, without_shared_part
from app.storage.models.rooms_and_loggers import SmokeSource
from app.storage.models.trials import BenchRepeatability, ChannelResult, Trial
from app.storage.models.units_under_test import UnitUnderTest

# A smaller change is ignored, so that one more trial on a large bench does not rewrite every summary; the figure in use
# is stored, so that all summaries use the same one.
MOVES_WHEN_CHANGED_BY = 0.02


def refresh_repeatability(session: Session, now: datetime) -> tuple[dict[str, Repeatability], bool]:
    """Pools the repeats of the whole bench; returns the figure in use for each channel, and whether one changed."""
    connection = session.connection()  # plain statements are faster than ORM objects
    present = {channel: Repeatability(*figures) for channel, *figures in connection.execute(_PRESENT)}
    pooled = {channel: pooled_repeatability(groups) for channel, groups in _groups(session).items()}
    lent, written = {}, []
    for channel, new in sorted(pooled.items()):
        if new is None:
            continue
        held = present.get(channel)
        lent[channel] = new if held is None or _moves(held, new) else held
        if lent[channel] is not held:
            written.append((channel, new))
    gone = present.keys() - lent.keys()
    changed = [channel for channel, _ in written if channel in present]
    if gone or changed:
        connection.execute(delete(BenchRepeatability).where(BenchRepeatability.channel.in_([*gone, *changed])))
    if written:
        rows = [{"channel": channel, "computed_at": now, **asdict(new)} for channel, new in written]
        connection.execute(insert(BenchRepeatability), rows)
    return lent, bool(gone or written)


FIGURES = tuple(field.name for field in fields(Repeatability))  # each field has a column of the same name
_PRESENT = select(BenchRepeatability.channel, *(getattr(BenchRepeatability, name) for name in FIGURES))


def _moves(held: Repeatability, new: Repeatability) -> bool:
    def apart(before: float, after: float) -> bool:
        return abs(after - before) > MOVES_WHEN_CHANGED_BY * max(abs(before), abs(after))

    return apart(held.relative_sd, new.relative_sd) or apart(held.degrees_of_freedom, new.degrees_of_freedom)


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
