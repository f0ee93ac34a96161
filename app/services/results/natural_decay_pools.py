"""Natural decay of a room, pooled over its empty-room runs; each pool lists its runs."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import cache
from typing import Any

from sqlalchemy import Select, delete, select
from sqlalchemy.orm import Session

from app.compute.clean_air.empty_room_runs import ChosenRuns, choose_runs
from app.compute.clean_air.natural_decay import EmptyRoomRun, NaturalDecay, pool_natural_decay
from app.compute.method import METHOD_VERSION
from app.compute.statistics.measured import Measured
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


class EmptyRoomRuns:
    """The usable empty-room runs of the bench, read once, and the pools made from them.

    Trials with the same runs share one pool, so that their common natural decay cancels
    when they are compared.
    """

    def __init__(self, session: Session) -> None:
        self._session = session
        self._stale_after_days = float(session.get_one(Bench, 1).natural_decay_stale_after_days or 180)
        self._runs = _usable_runs(session)
        self._spread = _spread_between_runs(self._runs)
        self._pools = _present_pools(session) if self._runs else {}
        self._settled: dict[tuple[int, str, frozenset[int]], tuple[int, NaturalDecay]] = {}

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
        key = (room_id, channel, frozenset(run.run_id for run in choice.chosen))
        if not keep:
            pool = self._pools.get(key)
            return PooledForTrial(
                pool.id if pool else None,
                pool_natural_decay(choice.chosen, between_runs=self._spread.get(channel)),
                choice,
            )
        if key not in self._settled:
            pooled = pool_natural_decay(choice.chosen, between_runs=self._spread.get(channel))
            self._settled[key] = self._update_pool(key, pooled), pooled
        return PooledForTrial(*self._settled[key], choice)

    def _update_pool(self, key: tuple[int, str, frozenset[int]], pooled: NaturalDecay) -> int:
        pool = self._pools.get(key)
        if pool is None:
            pool = NaturalDecayPool(room_id=key[0], channel=key[1])
            self._session.add(pool)
            self._pools[key] = pool
        pool.natural_decay_per_h = pooled.natural_decay.value
        pool.uncertainty_per_h = pooled.natural_decay.uncertainty
        pool.degrees_of_freedom = stored_degrees(pooled.natural_decay.degrees_of_freedom)
        pool.between_run_sd_per_h = pooled.between_run_sd_per_h
        pool.between_run_source = pooled.between_run_source
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


def _spread_between_runs(runs: dict[tuple[int, str], list[EmptyRoomRun]]) -> dict[str, Repeatability | None]:
    """Relative spread between empty-room runs of each channel, pooled over all rooms, for rooms with few runs."""
    groups: dict[str, list[Sequence[Measured]]] = defaultdict(list)
    for (_, channel), of_room in runs.items():
        groups[channel].append([run.decay_rate for run in of_room])
    return {channel: pooled_repeatability(of_channel) for channel, of_channel in groups.items()}


def _present_pools(session: Session) -> dict[tuple[int, str, frozenset[int]], NaturalDecayPool]:
    members: dict[int, set[int]] = defaultdict(set)
    for pool_id, trial_id in session.execute(select(NaturalDecayPoolRun.pool_id, NaturalDecayPoolRun.trial_id)):
        members[pool_id].add(trial_id)
    pools: Iterable[NaturalDecayPool] = session.scalars(select(NaturalDecayPool))
    return {(pool.room_id, pool.channel, frozenset(members[pool.id])): pool for pool in pools}
