"""Summaries: one ranking line per setting, channel, aerosol and room, with its trials combined. Written whenever its
inputs change.
"""

import math
from collections.abc import Collection, Iterable, Sequence
from datetime import datetime
from functools import cache
from statistics import median
from typing import Any

from sqlalchemy import Select, bindparam, delete, insert, select, update
from sqlalchemy.orm import Session

from app.compute.clean_air.rate import clean_air_delivery_rate, detection, standard_clearing_time
from app.compute.decay.clearing_of_repeats import combine_times_to_clear
from app.compute.decay.result import TimeToClear
from app.compute.method import METHOD_VERSION
from app.compute.statistics.measured import Measured, at_least_as_wide
from app.compute.statistics.propagation import effective_degrees_of_freedom
from app.compute.statistics.repeatability import ASSUMED_BETWEEN_TRIALS, Repeatability
from app.compute.statistics.repeats import CombinedTrials, combine_trials
from app.compute.statistics.spread_sources import OWN_REPEATS
from app.services.results.repeatability import refresh_repeatability
from app.services.results.rows import stored_degrees, without_shared_part
from app.services.results.summary_trials import GroupKey, SummaryTrial, read_summary_trials
from app.services.store.id_batches import in_batches
from app.storage.models.trials import NaturalDecayPool, SettingSummary

_KEYS = ("id", "unit_under_test_id", *GroupKey._fields, "computed_at")
# The columns of `summary_values`, in this order.
_COLUMNS = tuple(column.name for column in SettingSummary.__table__.columns if column.name not in _KEYS)
_SEVERITIES = ("fine", "care", "unusable")


def refresh_summaries(session: Session, setting_ids: Collection[int] | None, now: datetime) -> None:
    """Writes the summaries of some settings, or of the whole bench.

    If the bench's repeatability changed, all summaries are written, because all use it.
    """
    session.flush()
    pooled, moved = refresh_repeatability(session, now)
    settings = None if moved else setting_ids
    groups = read_summary_trials(session, settings)
    pools = _pools(session, groups.values())
    present = _present(session, settings)
    changed: list[dict[str, Any]] = []
    added: list[dict[str, Any]] = []
    for key, trials in groups.items():
        values = summary_values(trials, pooled.get(key.channel, ASSUMED_BETWEEN_TRIALS), pools)
        if key not in present:
            unit_id = trials[0].unit_under_test_id
            added.append({**key._asdict(), "unit_under_test_id": unit_id, "computed_at": now, **values})
        elif present[key][1] != tuple(values.values()):
            changed.append({"of_summary": present[key][0], "computed_at": now, **values})
    gone = [summary_id for key, (summary_id, _) in present.items() if key not in groups]
    for batch in in_batches(gone):
        session.execute(delete(SettingSummary).where(SettingSummary.id.in_(batch)))
    connection = session.connection()  # plain statements are faster than ORM objects
    if changed:
        connection.execute(update(SettingSummary).where(SettingSummary.id == bindparam("of_summary")), changed)
    if added:
        connection.execute(insert(SettingSummary), added)
    for loaded in session:
        if isinstance(loaded, SettingSummary):  # its row was changed by a plain statement
            session.expire(loaded)


def summary_values(
    trials: Sequence[SummaryTrial], pooled: Repeatability, pools: dict[int, NaturalDecayPool]
) -> dict[str, Any]:
    """Columns of one summary. Excluded trials are only counted; unusable ones give neither rate nor time."""
    kept = [trial for trial in trials if not trial.excluded]
    usable = [t for t in kept if t.usable and t.total_decay is not None and t.total_decay.uncertainty > 0]
    latest = (kept or trials)[-1]
    values: dict[str, Any] = dict.fromkeys(_COLUMNS) | {
        "method_version": METHOD_VERSION,
        "trials": len(trials),
        "usable_trials": len(usable),
        "excluded_trials": len(trials) - len(kept),
        "censored_trials": 0,
        "latest_trial_id": latest.trial_id,
        "latest_trial_on": latest.started_at.date(),
        "worst_severity": _worst(usable or kept),
        "between_trial_source": "",
        "heterogeneous": False,
    }
    judged_usable = [trial for trial in kept if trial.usable]
    values |= _clearing(judged_usable, pooled)
    if judged_usable:
        values["start_level_low"] = min(trial.start_level for trial in judged_usable)
        values["start_level_high"] = max(trial.start_level for trial in judged_usable)
    if usable:
        values |= _rates(usable, pooled, pools)
    return values


def _rates(usable: Sequence[SummaryTrial], pooled: Repeatability, pools: dict[int, NaturalDecayPool]) -> dict[str, Any]:
    own = [(t.total_decay, t.humidity_uncertainty_per_h) for t in usable if t.total_decay is not None]
    combined = combine_trials([without_shared_part(rate, shared) for rate, shared in own], pooled)
    # The pool of the middle trial represents the setting: a steady drift of the room then cancels in the mean.
    middle = (len(usable) - 1) / 2
    with_pool = sorted(range(len(usable)), key=lambda place: abs(place - middle))
    pool = next((pools[pool_id] for place in with_pool if (pool_id := usable[place].pool_id) in pools), None)
    days = len({trial.started_at.date() for trial in usable})
    total, between_sd = _with_spread_between_days(combined, pool, days)
    shared_by_all = sum(w * shared for w, (_, shared) in zip(combined.weights, own, strict=True))
    total = _with_what_repeats_share(total, shared_by_all)
    if len(own) == 1:
        total = at_least_as_wide(total, own[0][0])
    clearing = standard_clearing_time(total)
    values: dict[str, Any] = {
        "total_decay_per_h": total.value,
        "total_decay_uncertainty_per_h": total.uncertainty,
        "total_decay_degrees_of_freedom": stored_degrees(total.degrees_of_freedom),
        "between_trial_sd_per_h": between_sd,
        "between_trial_source": combined.between_trial_source,
        "heterogeneous": combined.heterogeneous,
        "standard_clearing_time_min": clearing.value if clearing else None,
        "standard_clearing_time_low_95_min": clearing.low_95 if clearing else None,
        "standard_clearing_time_high_95_min": clearing.high_95 if clearing else None,
    }
    if pool is None:
        return values
    natural = Measured(pool.natural_decay_per_h, pool.uncertainty_per_h, pool.degrees_of_freedom or math.inf)
    volume = usable[-1].volume
    rate, limit = clean_air_delivery_rate(total, natural, volume), detection(total, natural, volume)
    if len(own) == 1 and pool.on_one_day_uncertainty_per_h is not None:
        degrees = pool.on_one_day_degrees_of_freedom or math.inf
        on_one_day = Measured(pool.natural_decay_per_h, pool.on_one_day_uncertainty_per_h, degrees)
        rate = at_least_as_wide(rate, clean_air_delivery_rate(own[0][0], on_one_day, volume))
    return values | {
        "pool_id": pool.id,
        "clean_air_delivery_rate_m3_per_h": rate.value,
        "clean_air_delivery_rate_uncertainty": rate.uncertainty,
        "clean_air_delivery_rate_degrees_of_freedom": stored_degrees(rate.degrees_of_freedom),
        "clean_air_delivery_rate_low_95": rate.low_95,
        "clean_air_delivery_rate_high_95": rate.high_95,
        "measurable": limit.measurable,
        "at_most_m3_per_h": None if limit.measurable else limit.at_most,
    }


def _with_spread_between_days(
    combined: CombinedTrials, pool: NaturalDecayPool | None, days: int
) -> tuple[Measured, float]:
    """Widens the total decay to at least the day-to-day spread of the empty room.

    The bench's repeatability is relative to the rate. A slow unit's rate varies from day to day by at least as much
    as the natural decay in it, which a relative figure underestimates. The trials' own scatter already includes it.
    """
    total, between_sd = combined.total_decay, combined.between_trial_sd_per_h
    if pool is None or combined.between_trial_source == OWN_REPEATS or pool.between_run_sd_per_h <= between_sd:
        return total, between_sd
    missing = math.sqrt((pool.between_run_sd_per_h**2 - between_sd**2) / days)
    parts = [
        (total.uncertainty, total.degrees_of_freedom),
        (missing, pool.on_one_day_degrees_of_freedom or math.inf),
    ]
    uncertainty = math.hypot(total.uncertainty, missing)
    return Measured(total.value, uncertainty, effective_degrees_of_freedom(parts)), pool.between_run_sd_per_h


def _with_what_repeats_share(total: Measured, shared: float) -> Measured:
    """Adds to the mean of repeats the component that repeating does not reduce: humidity, which affects each run
    alike.
    """
    parts = [(total.uncertainty, total.degrees_of_freedom), (shared, math.inf)]
    wider = Measured(total.value, math.hypot(total.uncertainty, shared), effective_degrees_of_freedom(parts))
    return at_least_as_wide(wider, total)


def _clearing(usable: Sequence[SummaryTrial], pooled: Repeatability) -> dict[str, Any]:
    """Time to clear over the trials that use the newest trial's clear level and started above it."""
    if not usable:
        return {}
    alike = [t for t in usable if t.clear_key == usable[-1].clear_key and t.start_level > t.clear_level]
    times = [
        TimeToClear(
            t.cleared,
            t.time_to_clear_min,
            t.not_cleared_before_min,
            None,
            t.clear_level,
            t.time_to_clear_uncertainty_min,
        )
        for t in alike
        if (t.time_to_clear_min if t.cleared else t.not_cleared_before_min) is not None
    ]
    if not times:
        return {}
    # at a share of the start level the amount of smoke does not matter
    start_level = None if usable[-1].clear_key[0] == "share_of_start" else median(t.start_level for t in alike)
    combined = combine_times_to_clear(times, pooled, start_level=start_level)
    return {
        "censored_trials": combined.censored_trials,
        "time_to_clear_min": combined.median_min,
        "time_to_clear_low_min": combined.low_95_min,
        "time_to_clear_high_min": combined.high_95_min,
        "not_cleared_before_min": combined.not_before_min,
    }


def _worst(trials: Iterable[SummaryTrial]) -> str:
    return max((trial.worst_severity for trial in trials), key=_SEVERITIES.index, default="fine")


def _pools(session: Session, groups: Iterable[Sequence[SummaryTrial]]) -> dict[int, NaturalDecayPool]:
    if not any(trial.pool_id for trials in groups for trial in trials):
        return {}
    return {pool.id: pool for pool in session.scalars(select(NaturalDecayPool)).all()}


def _present(session: Session, setting_ids: Collection[int] | None) -> dict[GroupKey, tuple[int, tuple[Any, ...]]]:
    """Stored summaries: id and values, in the order of `summary_values`."""
    query = _present_query()
    if setting_ids is not None:
        query = query.where(SettingSummary.setting_id.in_(setting_ids))
    return {GroupKey(*row[1:5]): (row[0], tuple(row[5:])) for row in session.execute(query)}


@cache
def _present_query() -> Select[*tuple[Any, ...]]:
    """Cached: building the statement takes longer than running it for one setting."""
    return select(
        SettingSummary.id,
        SettingSummary.setting_id,
        SettingSummary.room_id,
        SettingSummary.aerosol,
        SettingSummary.channel,
        *(getattr(SettingSummary, name) for name in _COLUMNS),
    )
