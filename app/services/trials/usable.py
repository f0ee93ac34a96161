"""The trials that the results of settings use."""

from collections.abc import Collection

from sqlalchemy import ColumnElement, func, select
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
    for setting_id, in_room, trial_id in session.execute(
        select(Trial.setting_id, Trial.room_id, Trial.id)
        .join(ChannelResult, ChannelResult.trial_id == Trial.id)
        .where(
            # filter by unit and not by room, because most trials are in one room and all of them would be scanned
            Trial.unit_under_test_id.in_(
                select(SpeedSetting.unit_under_test_id).where(SpeedSetting.id.in_(setting_ids))
            ),
            Trial.setting_id.in_(setting_ids),
            Trial.excluded_at.is_(None),
            Trial.trashed_at.is_(None),
            of_aerosol(aerosol),
            ChannelResult.channel == channel,
            ChannelResult.usable == True,  # noqa: E712  # a column; PostgreSQL has no IS for numbers
        )
        .order_by(Trial.started_at, Trial.id)
    ):
        if in_room == room_id and setting_id is not None:
            found.setdefault(setting_id, []).append(trial_id)
    return {setting_id: tuple(ids) for setting_id, ids in found.items()}
