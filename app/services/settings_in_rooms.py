"""What the stored summaries say of each setting, as a comparison needs it: with what the settings share kept apart."""

from collections import defaultdict
from collections.abc import Collection
from dataclasses import dataclass

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.compute.measured import Measured
from app.compute.setting_in_room import SettingInRoom
from app.services.result_rows import stored_measured
from app.storage.rooms_and_loggers import Room
from app.storage.trials import NaturalDecayPool, NaturalDecayPoolRun, SettingSummary


@dataclass(frozen=True, slots=True)
class TestedSetting:
    """One setting in one room and channel.

    total_decay : None without a usable trial [1/h]
    in_room : what its clean air delivery rate is made of, None without a natural decay
    measurable : the rate can be told from zero; then `at_most_m3_per_h` is None
    """

    setting_id: int
    summary_id: int
    latest_trial_id: int
    total_decay: Measured | None
    in_room: SettingInRoom | None
    measurable: bool
    at_most_m3_per_h: float | None


def read_tested_settings(
    session: Session,
    *,
    channel: str,
    aerosol: str,
    room_id: int | None,
    setting_ids: Collection[int] | None = None,
) -> dict[int, TestedSetting]:
    """Setting id to what was found of it, for the settings named or for all that were tested in the room."""
    query = (
        select(
            SettingSummary.id,
            SettingSummary.setting_id,
            SettingSummary.latest_trial_id,
            SettingSummary.total_decay_per_h,
            SettingSummary.total_decay_uncertainty_per_h,
            SettingSummary.total_decay_degrees_of_freedom,
            SettingSummary.measurable,
            SettingSummary.at_most_m3_per_h,
            SettingSummary.pool_id,
            NaturalDecayPool.natural_decay_per_h,
            NaturalDecayPool.uncertainty_per_h,
            NaturalDecayPool.degrees_of_freedom,
            Room.room_volume_m3,
            Room.room_volume_uncertainty_m3,
        )
        .join(Room, Room.id == SettingSummary.room_id)
        .outerjoin(NaturalDecayPool, NaturalDecayPool.id == SettingSummary.pool_id)
        .where(
            SettingSummary.channel == channel,
            SettingSummary.aerosol == aerosol,
            SettingSummary.room_id == room_id,
        )
    )
    if setting_ids is not None:
        query = query.where(SettingSummary.setting_id.in_(setting_ids))
    rows = session.execute(query).all()
    runs = _runs_of({row.pool_id for row in rows if row.pool_id is not None}, session)
    found = {}
    for row in rows:
        total = stored_measured(
            row.total_decay_per_h, row.total_decay_uncertainty_per_h, row.total_decay_degrees_of_freedom
        )
        natural = stored_measured(row.natural_decay_per_h, row.uncertainty_per_h, row.degrees_of_freedom)
        in_room = None
        if total is not None and natural is not None:
            volume = Measured(row.room_volume_m3, row.room_volume_uncertainty_m3)
            in_room = SettingInRoom(total, natural, row.pool_id, volume, room_id or 0, runs[row.pool_id])
        found[row.setting_id] = TestedSetting(
            setting_id=row.setting_id,
            summary_id=row.id,
            latest_trial_id=row.latest_trial_id,
            total_decay=total,
            in_room=in_room,
            measurable=in_room is not None and bool(row.measurable),
            at_most_m3_per_h=row.at_most_m3_per_h,
        )
    return found


def _runs_of(pool_ids: Collection[int], session: Session) -> dict[int, tuple[tuple[int, float], ...]]:
    rows = session.execute(
        select(NaturalDecayPoolRun.pool_id, NaturalDecayPoolRun.trial_id, NaturalDecayPoolRun.weight)
        .where(NaturalDecayPoolRun.pool_id.in_(pool_ids))
        .order_by(NaturalDecayPoolRun.pool_id, NaturalDecayPoolRun.trial_id)
    )
    runs: dict[int, list[tuple[int, float]]] = defaultdict(list)
    for pool_id, trial_id, weight in rows:
        runs[pool_id].append((trial_id, weight))
    return {pool_id: tuple(runs[pool_id]) for pool_id in pool_ids}
