"""Stored clean air rates of one unit, for comparison with claims and ratings."""

import math
from dataclasses import dataclass

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.compute.statistics.measured import Measured
from app.services.bench.choices import bench_choices
from app.services.snapshot.bench_snapshot import BenchSnapshot, current_snapshot
from app.storage.models.rooms import Room
from app.storage.models.summaries import SettingSummary
from app.storage.models.units_under_test import SpeedSetting


@dataclass(frozen=True, slots=True)
class SettingRate:
    """The rate of one setting for one aerosol, in the bench's main channel and the room with most trials [m³/h].

    rate : None if it does not exist (no natural decay, no usable trial)
    measurable : False: not distinguishable from zero; then at most `at_most_m3_per_h`
    """

    setting_id: int
    setting: str
    position: int
    at_highest_setting: bool
    aerosol: str
    channel: str
    room: str
    usable_trials: int
    rate: Measured | None
    measurable: bool
    at_most_m3_per_h: float | None


def rates_of_unit(session: Session, unit_id: int) -> tuple[SettingRate, ...]:
    """One entry per setting and aerosol with a summary, from the slowest setting."""
    return current_snapshot(session).view(_rates_of_unit, unit_id)


def _rates_of_unit(snapshot: BenchSnapshot, unit_id: int) -> tuple[SettingRate, ...]:
    session = snapshot.session
    channel = bench_choices(session).main_channel
    rows = session.execute(
        select(SettingSummary, SpeedSetting, Room.name)
        .join(SpeedSetting, SpeedSetting.id == SettingSummary.setting_id)
        .join(Room, Room.id == SettingSummary.room_id)
        .where(SettingSummary.unit_under_test_id == unit_id, SettingSummary.channel == channel)
        .order_by(SpeedSetting.position, SettingSummary.aerosol, SettingSummary.usable_trials.desc())
    ).all()
    highest = _highest(session, unit_id)
    found: dict[tuple[int, str], SettingRate] = {}
    for summary, setting, room in rows:
        if (setting.id, summary.aerosol) in found:
            continue  # another room, with fewer trials
        found[setting.id, summary.aerosol] = SettingRate(
            setting_id=setting.id,
            setting=setting.name,
            position=setting.position,
            at_highest_setting=setting.id == highest,
            aerosol=summary.aerosol,
            channel=summary.channel,
            room=room,
            usable_trials=summary.usable_trials,
            rate=_rate(summary),
            measurable=summary.measurable is True,
            at_most_m3_per_h=summary.at_most_m3_per_h,
        )
    return tuple(found.values())


def _highest(session: Session, unit_id: int) -> int | None:
    """The setting marked as highest, or the last one if none is."""
    return session.scalar(
        select(SpeedSetting.id)
        .where(SpeedSetting.unit_under_test_id == unit_id)
        .order_by(SpeedSetting.is_highest.desc(), SpeedSetting.position.desc(), SpeedSetting.id.desc())
        .limit(1)
    )


def _rate(summary: SettingSummary) -> Measured | None:
    value, uncertainty = summary.clean_air_delivery_rate_m3_per_h, summary.clean_air_delivery_rate_uncertainty
    if value is None or uncertainty is None:
        return None
    degrees_of_freedom = summary.clean_air_delivery_rate_degrees_of_freedom
    return Measured(value, uncertainty, math.inf if degrees_of_freedom is None else degrees_of_freedom)
