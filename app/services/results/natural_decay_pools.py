"""Natural decay of a room in the week of each trial, from its empty-room runs; each pool lists its runs."""

import math
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from functools import cache
from typing import Any, NamedTuple, cast

from sqlalchemy import Select, Table, bindparam, delete, insert, select, update
from sqlalchemy.orm import Session

from app.compute.clean_air.empty_room_runs import ChosenRuns, Limits, TrialConditions, choose_runs
from app.compute.clean_air.natural_decay import (
    ASSUMED_BETWEEN_RUNS,
    DayAsked,
    EmptyRoomRun,
    NaturalDecay,
    nearest_runs,
    pool_natural_decays,
)
from app.compute.method import METHOD_VERSION
from app.compute.statistics.measured import measured_or_none
from app.compute.statistics.repeatability import Repeatability, pooled_repeatability
from app.services.logs.trial_kinds import EMPTY_ROOM
from app.services.results.control_charts.key import ChartKey
from app.services.results.control_charts.runs import aerosol_of_run, day_number
from app.services.results.rows import stored_degrees
from app.services.store.id_batches import in_batches
from app.storage.models.bench import Bench
from app.storage.models.loggers import SmokeSource
from app.storage.models.summaries import SettingSummary
from app.storage.models.trials import ChannelResult, NaturalDecayPool, NaturalDecayPoolRun, Trial

_POOL = cast(Table, NaturalDecayPool.__table__)
_POOL_RUN = cast(Table, NaturalDecayPoolRun.__table__)
_POOL_COLUMNS = tuple(column.name for column in _POOL.columns if column.name != "id")
_STALE = select(Bench.natural_decay_stale_after_days).where(Bench.id == 1)


class PoolRequest(NamedTuple):
    """What decides which pool applies to a trial."""

    room_id: int
    channel: str
    aerosol: str
    at: datetime
    relative_humidity_pct: float | None
    start_level: float | None


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


def middle_of_week(day: float) -> int:
    """Number of the Thursday of the week from Monday to Sunday, UTC, as in `day_number`: 1970-01-01 was a Thursday.

    >>> [middle_of_week(day) for day in (-3.0, 0.0, 3.99, 4.0)]
    [0, 0, 0, 7]
    """
    return 7 * ((math.floor(day) + 3) // 7)


class EmptyRoomRuns:
    """The usable empty-room runs of the bench, or of one channel, read once, and the pools made from them.

    Trials of one week with the same runs share one pool, so that their common natural decay cancels
    when they are compared.
    """

    def __init__(self, session: Session, channel: str = "") -> None:
        self._session = session
        session.flush()
        stale_after_days = session.connection().scalar(_STALE)  # one column is read faster than the object
        self._limits = Limits(float(stale_after_days or 180))
        self._runs = _usable_runs(session, channel)
        self._spread: dict[ChartKey, Repeatability] = {}

    def serving(self, requests: Sequence[PoolRequest], *, keep: bool = True) -> list[PooledForTrial]:
        """The pool for each trial, by its room, time, humidity and start level.

        keep : False for a preview, which must not write: a new pool then has no id
        """
        days = [day_number(request.at) for request in requests]
        choices = self._choices(requests, days)
        keys: list[PoolKey | None] = []
        asked: dict[PoolKey, DayAsked] = {}
        known: dict[tuple[int, int], PoolKey] = {}
        for request, day, choice in zip(requests, days, choices, strict=True):
            if not choice.chosen:
                keys.append(None)
                continue
            week = middle_of_week(day)
            seen = week, id(choice.chosen)  # choices with the same runs share one tuple
            if seen not in known:
                noon = week + 0.5
                runs = nearest_runs(choice.chosen, noon)
                thursday = date(1970, 1, 1) + timedelta(days=week)
                key = PoolKey(request.room_id, request.channel, thursday, frozenset(run.run_id for run in runs))
                known[seen] = key
                asked[key] = DayAsked(noon, runs, self._spread_elsewhere(ChartKey(*request[:3])))
            keys.append(known[seen])
        pooled = dict(zip(asked, pool_natural_decays(list(asked.values())), strict=True))
        ids = _store_pools(self._session, pooled, write=keep)
        return [
            PooledForTrial(None, None, choice) if key is None else PooledForTrial(ids.get(key), pooled[key], choice)
            for key, choice in zip(keys, choices, strict=True)
        ]

    def _choices(self, requests: Sequence[PoolRequest], days: Sequence[float]) -> list[ChosenRuns]:
        places: dict[ChartKey, list[int]] = defaultdict(list)
        for place, request in enumerate(requests):
            places[ChartKey(*request[:3])].append(place)
        found: dict[int, ChosenRuns] = {}
        for of_one, some in places.items():
            of_room = [(days[place], *requests[place][4:]) for place in some]
            trials = list(map(TrialConditions._make, of_room))
            found |= zip(some, choose_runs(self._runs.get(of_one, []), trials, self._limits), strict=True)
        return [found[place] for place in range(len(requests))]

    @property
    def stale_after_days(self) -> float:
        return self._limits.stale_after_days

    def of_room(self, room: ChartKey, day: float) -> tuple[ChosenRuns, Repeatability]:
        """Runs of a room that can be used on a day, and the spread between days that other rooms suggest."""
        chosen = choose_runs(self._runs.get(room, []), [TrialConditions(day)], self._limits)
        return next(iter(chosen)), self._spread_elsewhere(room)

    def _spread_elsewhere(self, of_one: ChartKey) -> Repeatability:
        """Relative spread between the empty-room runs of the other rooms with the same channel and aerosol; the room's
        own runs update it.

        In steps of 2 %, so that a run in one room seldom moves the results of another.
        """
        if of_one not in self._spread:
            others = [runs for key, runs in self._runs.items() if key[1:] == of_one[1:] and key[0] != of_one[0]]
            groups = [[run.decay_rate for run in of_room] for of_room in others]
            found = pooled_repeatability(groups, ASSUMED_BETWEEN_RUNS, "empty-room runs")
            self._spread[of_one] = found.in_steps() if found.groups else found
        return self._spread[of_one]


def _store_pools(session: Session, pooled: dict[PoolKey, NaturalDecay], *, write: bool) -> dict[PoolKey, int]:
    """Ids of the pools; those that are new or have changed are written."""
    if not pooled:
        return {}
    session.flush()
    connection = session.connection()  # plain statements are faster than ORM objects
    present = _present_pools(session)
    if not write:
        return {key: present[key][0] for key in pooled if key in present}
    changed: list[dict[str, Any]] = []
    added: list[PoolKey] = []
    for key, values in ((key, _pool_values(key, decay)) for key, decay in pooled.items()):
        if key not in present:
            added.append(key)
        elif present[key][1:] != (
            tuple(values.values()),
            dict(zip(pooled[key].run_ids, pooled[key].weights, strict=True)),
        ):
            changed.append({"of_pool": present[key][0], **values})
    if changed:
        connection.execute(update(_POOL).where(_POOL.c.id == bindparam("of_pool")), changed)
    ids = {key: present[key][0] for key in pooled if key in present}
    if added:
        statement = insert(_POOL).returning(_POOL.c.id, sort_by_parameter_order=True)
        rows = [_pool_values(key, pooled[key]) for key in added]
        ids |= zip(added, connection.scalars(statement, rows), strict=True)
    of_changed = {row["of_pool"] for row in changed} | {ids[key] for key in added}
    for batch in in_batches(of_changed):
        connection.execute(delete(_POOL_RUN).where(_POOL_RUN.c.pool_id.in_(batch)))
    runs = [
        {"pool_id": ids[key], "trial_id": run_id, "weight": weight}
        for key, decay in pooled.items()
        if ids[key] in of_changed
        for run_id, weight in _weights(decay).items()
    ]
    if runs:
        connection.execute(insert(_POOL_RUN), runs)
        for loaded in session:
            if isinstance(loaded, NaturalDecayPool | NaturalDecayPoolRun):  # changed by a plain statement
                session.expire(loaded)
    return ids


def _weights(pooled: NaturalDecay) -> dict[int, float]:
    return dict(zip(pooled.run_ids, pooled.weights, strict=True))


def _pool_values(key: PoolKey, pooled: NaturalDecay) -> dict[str, Any]:
    """All columns but the id, in their order."""
    values = {
        "room_id": key.room_id,
        "channel": key.channel,
        "week_of": key.week_of,
        "natural_decay_per_h": pooled.natural_decay.value,
        "uncertainty_per_h": pooled.natural_decay.uncertainty,
        "degrees_of_freedom": stored_degrees(pooled.natural_decay.degrees_of_freedom),
        "between_run_sd_per_h": pooled.between_run_sd_per_h,
        "between_run_source": pooled.between_run_source,
        "drift_sd_per_month": pooled.drift_sd_per_month,
        "on_one_day_uncertainty_per_h": pooled.on_one_day.uncertainty,
        "on_one_day_degrees_of_freedom": stored_degrees(pooled.on_one_day.degrees_of_freedom),
        "heterogeneity_p": pooled.heterogeneity_p,
        "number_of_runs": pooled.number_of_runs,
        "first_run_on": datetime.fromtimestamp(pooled.first_day * 86400, UTC).date(),
        "last_run_on": datetime.fromtimestamp(pooled.last_day * 86400, UTC).date(),
        "method_version": METHOD_VERSION,
    }
    return {name: values[name] for name in _POOL_COLUMNS}


def remove_unused_pools(session: Session) -> None:
    """Removes pools that no result or summary uses any more."""
    used = select(ChannelResult.pool_id).where(ChannelResult.pool_id.is_not(None))
    used_too = select(SettingSummary.pool_id).where(SettingSummary.pool_id.is_not(None))
    unused = session.scalars(select(NaturalDecayPool.id).where(NaturalDecayPool.id.not_in(used.union(used_too)))).all()
    for batch in in_batches(unused):
        session.execute(delete(NaturalDecayPoolRun).where(NaturalDecayPoolRun.pool_id.in_(batch)))
        session.execute(delete(NaturalDecayPool).where(NaturalDecayPool.id.in_(batch)))


def _usable_runs(session: Session, asked: str) -> dict[ChartKey, list[EmptyRoomRun]]:
    """Of one room, channel and aerosol each: smoke, dust and pollen settle at different rates."""
    # plain rows are read faster than ORM rows
    rows = session.connection().execute(_usable_query(bool(asked)), {"channel": asked}).all()
    runs: dict[ChartKey, list[EmptyRoomRun]] = defaultdict(list)
    for trial_id, room_id, aerosol, at, channel, value, uncertainty, degrees, humidity, start_level in rows:
        rate = measured_or_none(value, uncertainty, degrees)
        if rate is not None:
            run = EmptyRoomRun(trial_id, rate, day_number(at), humidity, start_level)
            runs[ChartKey(room_id, channel, aerosol)].append(run)
    return runs


@cache
def _usable_query(of_channel: bool) -> Select[*tuple[Any, ...]]:
    """Cached: building the statement takes longer than running it on a small bench."""
    query = (
        select(
            Trial.id,
            Trial.room_id,
            aerosol_of_run,
            Trial.started_at,
            ChannelResult.channel,
            ChannelResult.total_decay_per_h,
            ChannelResult.total_decay_uncertainty_per_h,
            ChannelResult.total_decay_degrees_of_freedom,
            ChannelResult.relative_humidity_pct,
            ChannelResult.start_level,
        )
        .join(ChannelResult, ChannelResult.trial_id == Trial.id)
        .outerjoin(SmokeSource, SmokeSource.id == Trial.smoke_source_id)
        .where(
            Trial.kind == EMPTY_ROOM,
            Trial.trashed_at.is_(None),
            Trial.excluded_at.is_(None),
            ChannelResult.usable == True,  # noqa: E712  # a column, not a truth value
            ChannelResult.total_decay_uncertainty_per_h > 0,
        )
        .order_by(Trial.id)
    )
    return query.where(ChannelResult.channel == bindparam("channel")) if of_channel else query


def _present_pools(session: Session) -> dict[PoolKey, tuple[int, tuple[Any, ...], dict[int, float]]]:
    """Stored pools: id, values in the order of `_pool_values`, and the weights of the runs."""
    weights: dict[int, dict[int, float]] = defaultdict(dict)
    connection = session.connection()
    for pool_id, trial_id, weight in connection.execute(select(*_POOL_RUN.columns)):
        weights[pool_id][trial_id] = weight
    pools = connection.execute(select(_POOL.c.id, *(_POOL.c[name] for name in _POOL_COLUMNS)))
    return {
        PoolKey(values[0], values[1], values[2], frozenset(weights[pool_id])): (
            pool_id,
            tuple(values),
            weights[pool_id],
        )
        for pool_id, *values in pools
        if values[2] is not None
    }
