"""The trials that the results of settings use."""

from collections.abc import Collection
from typing import Any

from sqlalchemy import ColumnElement, Select, func, select
from sqlalchemy.orm import Session

from app.services.results.control_charts.runs import SMOKE
from app.storage.models.loggers import SmokeSource
from app.storage.models.trials import ChannelResult, Trial
from app.storage.models.units_under_test import SpeedSetting


def of_aerosol(aerosol: str = SMOKE) -> ColumnElement[bool]:
    """Trials of one aerosol; one without a smoke source counts as smoke."""
    own = select(SmokeSource.aerosol).where(SmokeSource.id == Trial.smoke_source_id).scalar_subquery()
    return func.coalesce(own, SMOKE) == aerosol


def usable_trials(
    session: Session, setting_ids: Collection[int], channel: str, room_id: int | None, aerosol: str = SMOKE
) -> dict[int, tuple[int, ...]]:
    """For each setting its trials in a room with a usable result in the channel, of one aerosol, oldest first; settings
    without any are omitted.
    """
    found: dict[int, list[int]] = {}
    usable = _usable(setting_ids, channel, aerosol, Trial.setting_id, Trial.room_id, Trial.id)
    for setting_id, in_room, trial_id in session.execute(usable.order_by(Trial.started_at, Trial.id)):
        if in_room == room_id and setting_id is not None:
            found.setdefault(setting_id, []).append(trial_id)
    return {setting_id: tuple(ids) for setting_id, ids in found.items()}


def latest_usable_trials(
    session: Session, setting_ids: Collection[int], channel: str, room_id: int | None, aerosol: str = SMOKE
) -> dict[int, int]:
    """The last of the usable trials of each setting."""
    newest_first = (Trial.started_at.desc(), Trial.id.desc())
    place = func.row_number().over(partition_by=(Trial.setting_id, Trial.room_id), order_by=newest_first)
    usable = _usable(setting_ids, channel, aerosol, Trial.setting_id, Trial.room_id, Trial.id, place.label("place"))
    placed = usable.subquery()
    latest = select(placed.c.setting_id, placed.c.room_id, placed.c.id).where(placed.c.place == 1)
    return {setting_id: trial_id for setting_id, in_room, trial_id in session.execute(latest) if in_room == room_id}


def _usable(setting_ids: Collection[int], channel: str, aerosol: str, *columns: Any) -> Select[Any]:
    """In any room: most trials are in one, and a condition on the room would make the database scan them all."""
    of_units = select(SpeedSetting.unit_under_test_id).where(SpeedSetting.id.in_(setting_ids))
    return (
        select(*columns)
        .join(ChannelResult, ChannelResult.trial_id == Trial.id)
        .where(
            Trial.unit_under_test_id.in_(of_units),
            Trial.setting_id.in_(setting_ids),
            Trial.excluded_at.is_(None),
            Trial.trashed_at.is_(None),
            of_aerosol(aerosol),
            ChannelResult.channel == channel,
            ChannelResult.usable == True,  # noqa: E712  # a column; PostgreSQL has no IS for numbers
        )
    )
