"""Stored summaries of each setting as input of comparisons, with shared inputs kept separate."""

from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, NamedTuple

from sqlalchemy import Connection, Select, bindparam, select

from app.compute.comparison.setting_in_room import SettingInRoom
from app.compute.decay.systematic import LINEARITY
from app.compute.statistics.measured import Measured, measured_or_none
from app.compute.statistics.spread_sources import OWN_REPEATS
from app.services.snapshot.bench_snapshot import BenchSnapshot
from app.storage.models.rooms import Room
from app.storage.models.summaries import SettingSummary
from app.storage.models.trials import NaturalDecayPool, NaturalDecayPoolRun


@dataclass(frozen=True, slots=True)
class TestedSetting:
    """One setting in one room and channel.

    total_decay : None without a usable trial [1/h]
    in_room : inputs of its clean air delivery rate, None without a natural decay
    pooled_spread, logger_id, linearity_per_h : as in `SettingInRoom`
    measurable : the rate is distinguishable from zero; then `at_most_m3_per_h` is None
    """

    setting_id: int
    summary_id: int
    latest_trial_id: int
    total_decay: Measured | None
    in_room: SettingInRoom | None
    measurable: bool
    at_most_m3_per_h: float | None
    pooled_spread: bool
    logger_id: int | None
    linearity_per_h: float


_Pool = tuple[Measured | None, tuple[tuple[int, float], ...]]  # natural decay, and its runs with their weights


class _Room(NamedTuple):
    """What all settings tested in a room share."""

    channel: str
    aerosol: str
    room_id: int
    volume: Measured
    pools: tuple[tuple[int, _Pool], ...]


def read_tested_settings(
    snapshot: BenchSnapshot, channel: str, aerosol: str, room_id: int | None
) -> Mapping[int, TestedSetting]:
    """Results by setting id, for all that were tested in the room."""
    return snapshot.view(_tested_settings, (channel, aerosol, room_id or 0))


def _tested_settings(snapshot: BenchSnapshot, asked: tuple[str, str, int]) -> dict[int, TestedSetting]:
    connection, room_id = snapshot.session.connection(), asked[2]
    room = connection.execute(_ROOM, {"room_id": room_id}).first()
    if room is None:
        return {}
    shared = _Room(*asked, Measured(*room), tuple(_pools_of(connection, room_id).items()))
    units = snapshot.by_unit(_tested_of_units, shared)
    return {setting_id: tested for settings in units.values() for setting_id, tested in settings.items()}


def _tested_of_units(
    snapshot: BenchSnapshot, shared: _Room, unit_ids: Collection[int] | None
) -> dict[int, dict[int, TestedSetting]]:
    where = {"channel": shared.channel, "aerosol": shared.aerosol, "room_id": shared.room_id}
    query, values = (_ALL, where) if unit_ids is None else (_SOME, {**where, "unit_ids": list(unit_ids)})
    pools = dict(shared.pools)
    found: dict[int, dict[int, TestedSetting]] = {}
    rows: Sequence[Any] = snapshot.session.connection().execute(query, values).all()
    for unit_id, *row in rows:
        tested = _tested(row, pools, shared.volume, shared.room_id)
        found.setdefault(unit_id, {})[tested.setting_id] = tested
    return found


_ROOM = select(Room.room_volume_m3, Room.room_volume_uncertainty_m3).where(Room.id == bindparam("room_id"))
_POOLS = select(
    NaturalDecayPool.id,
    NaturalDecayPool.natural_decay_per_h,
    NaturalDecayPool.uncertainty_per_h,
    NaturalDecayPool.degrees_of_freedom,
).where(NaturalDecayPool.room_id == bindparam("room_id"))
_RUNS = (
    select(NaturalDecayPoolRun.pool_id, NaturalDecayPoolRun.trial_id, NaturalDecayPoolRun.weight)
    .join(NaturalDecayPool, NaturalDecayPool.id == NaturalDecayPoolRun.pool_id)
    .where(NaturalDecayPool.room_id == bindparam("room_id"))
    .order_by(NaturalDecayPoolRun.pool_id, NaturalDecayPoolRun.trial_id)
)
_ALL: Select[*tuple[object, ...]] = select(
    SettingSummary.unit_under_test_id,
    SettingSummary.id,
    SettingSummary.setting_id,
    SettingSummary.latest_trial_id,
    SettingSummary.total_decay_per_h,
    SettingSummary.total_decay_uncertainty_per_h,
    SettingSummary.total_decay_degrees_of_freedom,
    SettingSummary.measurable,
    SettingSummary.at_most_m3_per_h,
    SettingSummary.between_trial_source,
    SettingSummary.pool_id,
    SettingSummary.logger_id,
).where(
    SettingSummary.channel == bindparam("channel"),
    SettingSummary.aerosol == bindparam("aerosol"),
    SettingSummary.room_id == bindparam("room_id"),
)
_SOME = _ALL.where(SettingSummary.unit_under_test_id.in_(bindparam("unit_ids", expanding=True)))


def _pools_of(connection: Connection, room_id: int) -> dict[int, _Pool]:
    runs: dict[int, list[tuple[int, float]]] = defaultdict(list)
    for pool_id, trial_id, weight in connection.execute(_RUNS, {"room_id": room_id}).all():
        runs[pool_id].append((trial_id, weight))
    pools = connection.execute(_POOLS, {"room_id": room_id}).all()
    return {pool_id: (measured_or_none(*natural), tuple(runs[pool_id])) for pool_id, *natural in pools}


def _tested(row: Sequence[Any], pools: Mapping[int, _Pool], volume: Measured, room_id: int) -> TestedSetting:
    summary_id, setting_id, latest_trial_id, *rate, measurable, at_most, source, pool_id, logger_id = row
    pooled_spread = source != OWN_REPEATS
    total = measured_or_none(*rate)
    linearity = 0.0 if total is None or logger_id is None else LINEARITY * abs(total.value)
    natural, runs = pools.get(pool_id, (None, ()))
    in_room = None
    if total is not None and natural is not None:
        in_room = SettingInRoom(total, natural, pool_id, volume, room_id, runs, pooled_spread, logger_id)
        in_room = replace(in_room, linearity_per_h=linearity)
    return TestedSetting(
        setting_id=setting_id,
        summary_id=summary_id,
        latest_trial_id=latest_trial_id,
        total_decay=total,
        in_room=in_room,
        measurable=in_room is not None and bool(measurable),
        at_most_m3_per_h=at_most,
        pooled_spread=pooled_spread,
        logger_id=logger_id,
        linearity_per_h=linearity,
    )
