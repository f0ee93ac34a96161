"""Natural decay of a room in the week of each trial, from its empty-room runs; each pool lists its runs."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from functools import cache
from typing import Any, NamedTuple

from sqlalchemy import Select, delete, select
from sqlalchemy.orm import Session

from app.compute.clean_air.empty_room_runs import ChosenRuns, choose_runs
from app.compute.clean_air.natural_decay import (
    ASSUMED_BETWEEN_RUNS,
    MOST_RUNS,
    EmptyRoomRun,
    NaturalDecay,
    natural_decay_on,
    room_history,
)
from app.compute.clean_air.room_history import RoomHistory
from app.compute.method import METHOD_VERSION
from app.compute.statistics.repeatability import Repeatability, pooled_repeatability
from app.services.logs.trial_fields import EMPTY_ROOM
from app.services.results.rows import stored_degrees, stored_measured
from app.storage.models.bench import Bench
from app.storage.models.trials import ChannelResult, NaturalDecayPool, NaturalDecayPoolRun, SettingSummary, Trial


def day_number(at: datetime) -> float:
    """Days since 1970-01-01, UTC; only differences are used."""
    return at.timestamp() / 86400


@dataclass(frozen=True, slots=True)
class PooledForTrial:
    """Natural decay of one trial: the pool's id and values, and how its runs were chosen."""

    pool_id: int | None
    pooled: NaturalDecay | None
    choice: ChosenRuns


class PoolKey(NamedTuple):
    """What identifies a pool: room, channel, the middle of its week, and its runs."""

    room_id: int
    channel: str
    week_of: date
    runs: frozenset[int]


def middle_of_week(at: datetime) -> date:
    """The Thursday of the week from Monday to Sunday, UTC."""
    day = at.astimezone(UTC).date()
    return day + timedelta(days=3 - day.weekday())


class EmptyRoomRuns:
    """The usable empty-room runs of the bench, read once, and the pools made from them.

    Trials of one week with the same runs share one pool, so that their common natural decay cancels
    when they are compared.
    """

    def __init__(self, session: Session) -> None:
        self._session = session
        self._stale_after_days = float(session.get_one(Bench, 1).natural_decay_stale_after_days or 180)
        self._runs = _usable_runs(session)
        self._spread: dict[tuple[int, str], Repeatability] = {}
        self._pools = _present_pools(session) if self._runs else {}
        self._histories: dict[tuple[int, str, frozenset[int]], RoomHistory] = {}
        self._computed: dict[PoolKey, NaturalDecay] = {}
        self._settled: dict[PoolKey, int] = {}

    def serving(
        self,
        room_id: int,
        channel: str,
        at: datetime,
        relative_humidity_pct: float | None,
        start_level: float | None,
        *,
        keep: bool = True,
    ) -> PooledForTrial:
        """The pool for a trial, by its room, time, humidity and start level.

        keep : False for a preview, which must not write: a new pool then has no id
        """
        choice = choose_runs(
            self._runs.get((room_id, channel), []),
            day=day_number(at),
            stale_after_days=self._stale_after_days,
            relative_humidity_pct=relative_humidity_pct,
            start_level=start_level,
        )
        if not choice.chosen:
            return PooledForTrial(None, None, choice)
        key = PoolKey(room_id, channel, middle_of_week(at), frozenset(run.run_id for run in choice.chosen))
        if key not in self._computed:
            self._computed[key] = self._pooled(key, choice.chosen)
        pooled = self._computed[key]
        if not keep:
            pool = self._pools.get(key)
            return PooledForTrial(pool.id if pool else None, pooled, choice)
        if key not in self._settled:
            self._settled[key] = self._update_pool(key, pooled)
        return PooledForTrial(self._settled[key], pooled, choice)

    def _pooled(self, key: "PoolKey", chosen: Sequence[EmptyRoomRun]) -> NaturalDecay:
        day = (key.week_of - date(1970, 1, 1)).days + 0.5
        spread = self._spread_elsewhere(key.room_id, key.channel)
        if len(chosen) > MOST_RUNS:  # each week has other nearest runs
            return natural_decay_on(day, chosen, room_history(chosen, day=day, between_runs=spread), spread)
        runs = (key.room_id, key.channel, key.runs)
        if runs not in self._histories:
            self._histories[runs] = room_history(chosen, day=day, between_runs=spread)
        return natural_decay_on(day, chosen, self._histories[runs], spread)

    def _spread_elsewhere(self, room_id: int, channel: str) -> Repeatability:
        """Relative spread between the empty-room runs of the other rooms; the room's own runs update it."""
        if (room_id, channel) not in self._spread:
            others = [runs for key, runs in self._runs.items() if key[1] == channel and key[0] != room_id]
            groups = [[run.decay_rate for run in of_room] for of_room in others]
            self._spread[room_id, channel] = pooled_repeatability(groups, ASSUMED_BETWEEN_RUNS, "empty-room runs")
        return self._spread[room_id, channel]

    def _update_pool(self, key: "PoolKey", pooled: NaturalDecay) -> int:
        pool = self._pools.get(key)
        if pool is None:
            pool = NaturalDecayPool(room_id=key.room_id, channel=key.channel, week_of=key.week_of)
            self._session.add(pool)
            self._pools[key] = pool
        pool.natural_decay_per_h = pooled.natural_decay.value
        pool.uncertainty_per_h = pooled.natural_decay.uncertainty
        pool.degrees_of_freedom = stored_degrees(pooled.natural_decay.degrees_of_freedom)
        pool.between_run_sd_per_h = pooled.between_run_sd_per_h
        pool.between_run_source = pooled.between_run_source
        pool.drift_sd_per_month = pooled.drift_sd_per_month
        pool.on_one_day_uncertainty_per_h = pooled.on_one_day.uncertainty
        pool.on_one_day_degrees_of_freedom = stored_degrees(pooled.on_one_day.degrees_of_freedom)
        pool.heterogeneity_p = pooled.heterogeneity_p
        pool.number_of_runs = pooled.number_of_runs
        pool.first_run_on = datetime.fromtimestamp(pooled.first_day * 86400, UTC).date()
        pool.last_run_on = datetime.fromtimestamp(pooled.last_day * 86400, UTC).date()
        pool.method_version = METHOD_VERSION
        self._session.flush()
        self._session.execute(delete(NaturalDecayPoolRun).where(NaturalDecayPoolRun.pool_id == pool.id))
        self._session.add_all(
            NaturalDecayPoolRun(pool_id=pool.id, trial_id=run_id, weight=weight)
            for run_id, weight in zip(pooled.run_ids, pooled.weights, strict=True)
        )
        self._session.flush()
        return pool.id


def remove_unused_pools(session: Session) -> None:
    """Removes pools that no result or summary uses any more."""
    unused = session.scalars(
        select(NaturalDecayPool.id).where(
            ~select(ChannelResult.id).where(ChannelResult.pool_id == NaturalDecayPool.id).exists(),
            ~select(SettingSummary.id).where(SettingSummary.pool_id == NaturalDecayPool.id).exists(),
        )
    ).all()
    if unused:
        session.execute(delete(NaturalDecayPoolRun).where(NaturalDecayPoolRun.pool_id.in_(unused)))
        session.execute(delete(NaturalDecayPool).where(NaturalDecayPool.id.in_(unused)))


def _usable_runs(session: Session) -> dict[tuple[int, str], list[EmptyRoomRun]]:
    rows = session.execute(_usable_query()).all()
    runs: dict[tuple[int, str], list[EmptyRoomRun]] = defaultdict(list)
    for trial_id, room_id, at, channel, value, uncertainty, degrees, humidity, start_level in rows:
        rate = stored_measured(value, uncertainty, degrees)
        if rate is not None:
            runs[room_id, channel].append(EmptyRoomRun(trial_id, rate, day_number(at), humidity, start_level))
    return runs


@cache
def _usable_query() -> Select[*tuple[Any, ...]]:
    """Cached: building the statement takes longer than running it on a small bench."""
    return (
        select(
            Trial.id,
            Trial.room_id,
            Trial.started_at,
            ChannelResult.channel,
            ChannelResult.total_decay_per_h,
            ChannelResult.total_decay_uncertainty_per_h,
            ChannelResult.total_decay_degrees_of_freedom,
            ChannelResult.relative_humidity_pct,
            ChannelResult.start_level,
        )
        .join(ChannelResult, ChannelResult.trial_id == Trial.id)
        .where(
            Trial.kind == EMPTY_ROOM,
            Trial.trashed_at.is_(None),
            Trial.excluded_at.is_(None),
            ChannelResult.usable == True,  # noqa: E712  # a column, not a truth value
            ChannelResult.total_decay_uncertainty_per_h > 0,
        )
        .order_by(Trial.id)
    )


def _present_pools(session: Session) -> dict[PoolKey, NaturalDecayPool]:
    members: dict[int, set[int]] = defaultdict(set)
    for pool_id, trial_id in session.execute(select(NaturalDecayPoolRun.pool_id, NaturalDecayPoolRun.trial_id)):
        members[pool_id].add(trial_id)
    pools: Iterable[NaturalDecayPool] = session.scalars(select(NaturalDecayPool))
    return {
        PoolKey(pool.room_id, pool.channel, pool.week_of, frozenset(members[pool.id])): pool
        for pool in pools
        if pool.week_of is not None
    }
