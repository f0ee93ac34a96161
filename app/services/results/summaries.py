"""Summaries: one ranking line per setting, channel, aerosol and room, with its trials combined. Written whenever its
inputs change.
"""

from collections.abc import Collection, Mapping, Sequence
from datetime import datetime
from functools import cache
from statistics import median
from typing import Any

from sqlalchemy import Select, bindparam, delete, select, update
from sqlalchemy.orm import Session

from app.compute.decay.clearing_of_repeats import RunsOfSetting, combine_many_times
from app.compute.decay.result import TimeToClear
from app.compute.method import METHOD_VERSION
from app.compute.statistics.repeatability import ASSUMED_BETWEEN_TRIALS, Repeatability
from app.services.results.repeatability import refresh_repeatability
from app.services.results.setting_rates import setting_rates
from app.services.results.summary_trials import GroupKey, StoredPool, SummaryTrial, read_pools, read_summary_trials
from app.services.store.id_batches import in_batches
from app.storage.inserts import insert_into
from app.storage.models.summaries import SettingSummary

_KEYS = ("id", "unit_under_test_id", *GroupKey._fields, "computed_at")
# The columns of `summary_values`, in this order.
_COLUMNS = tuple(column.name for column in SettingSummary.__table__.columns if column.name not in _KEYS)
_CLEARING = (
    "censored_trials",
    "time_to_clear_min",
    "time_to_clear_low_min",
    "time_to_clear_high_min",
    "not_cleared_before_min",
)
_CLEARING_PLACES = tuple(map(_COLUMNS.index, _CLEARING))
_UPDATE = update(SettingSummary).where(SettingSummary.id == bindparam("of_summary"))
NOT_TIMED: Mapping[int, Mapping[str, Any]] = {}


def refresh_summaries(
    session: Session, setting_ids: Collection[int] | None, now: datetime, rates_only: Collection[int] = ()
) -> None:
    """Writes the summaries of some settings, or of the whole bench.

    If the bench's repeatability changed, all summaries are written, because all use it.

    rates_only : further settings, of which only clean air delivery rates of trials changed, so no time to clear did
    """
    session.flush()
    pooled, moved = refresh_repeatability(session, now)
    settings = None if moved or setting_ids is None else {*setting_ids, *rates_only}
    groups = read_summary_trials(session, settings)
    present = _present(session, settings)
    timed = {
        place: dict(zip(_CLEARING, map(present[key][1].__getitem__, _CLEARING_PLACES), strict=True))
        for place, key in enumerate(groups)
        if settings is not None and key.setting_id not in (setting_ids or ()) and key in present
    }
    changed: list[dict[str, Any]] = []
    added: list[dict[str, Any]] = []
    lent = [(trials, pooled.get(key.channel, ASSUMED_BETWEEN_TRIALS)) for key, trials in groups.items()]
    for (key, trials), values in zip(groups.items(), summary_values(lent, read_pools(session), timed), strict=True):
        if key not in present:
            unit_id = trials[0].unit_under_test_id
            added.append({**key._asdict(), "unit_under_test_id": unit_id, "computed_at": now, **values})
        elif present[key][1] != tuple(values.values()):
            changed.append({"of_summary": present[key][0], "computed_at": now, **values})
    gone = [summary_id for key, (summary_id, _) in present.items() if key not in groups]
    for batch in in_batches(gone):
        session.execute(delete(SettingSummary).where(SettingSummary.id.in_(batch)))
    connection = session.connection()  # plain statements are faster than ORM objects
    if changed:  # with all columns, because each choice of them is a statement to be compiled
        connection.execute(_UPDATE, changed)
    if added:
        connection.execute(insert_into(SettingSummary), added)
    for loaded in session:
        if isinstance(loaded, SettingSummary):  # its row was changed by a plain statement
            session.expire(loaded)


def summary_values(
    settings: Sequence[tuple[Sequence[SummaryTrial], Repeatability]],
    pools: Mapping[int, StoredPool],
    timed: Mapping[int, Mapping[str, Any]] = NOT_TIMED,
) -> list[dict[str, Any]]:
    """Columns of the summary of each setting, from its trials and the spread between repeats in its channel. Excluded
    trials are only counted; unusable ones give neither rate nor time. A summary does not depend on the other settings.

    timed : columns of the time to clear, by place, where they are known already
    """
    counted = [{**_counted(trials), **timed.get(place, {})} for place, (trials, _) in enumerate(settings)]
    asked = [(place, *of_setting) for place, of_setting in enumerate(settings) if place not in timed]
    clearing = [(place, runs) for place, trials, pooled in asked if (runs := _runs(trials, pooled))]
    for (place, _), times in zip(clearing, combine_many_times([runs for _, runs in clearing]), strict=True):
        found = (times.censored_trials, times.median_min, times.low_95_min, times.high_95_min, times.not_before_min)
        counted[place] |= zip(_CLEARING, found, strict=True)
    usable = [(place, some) for place, (trials, _) in enumerate(settings) if (some := _usable(trials))]
    rates = setting_rates([(some, settings[place][1]) for place, some in usable], pools)
    for (place, _), of_setting in zip(usable, rates, strict=True):
        counted[place] |= of_setting
    return counted


def _usable(trials: Sequence[SummaryTrial]) -> list[SummaryTrial]:
    return [
        trial
        for trial in trials
        if trial.excluded_at is None
        and trial.usable
        and trial.total_decay is not None
        and trial.total_decay.uncertainty > 0
    ]


def _counted(trials: Sequence[SummaryTrial]) -> dict[str, Any]:
    """All columns, with the counts, the dates and the start levels."""
    kept = [trial for trial in trials if trial.excluded_at is None]
    usable = _usable(trials)
    latest = (kept or trials)[-1]
    values: dict[str, Any] = dict.fromkeys(_COLUMNS) | {
        "method_version": METHOD_VERSION,
        "trials": len(trials),
        "usable_trials": len(usable),
        "excluded_trials": len(trials) - len(kept),
        "censored_trials": 0,
        "latest_trial_id": latest.trial_id,
        "latest_trial_on": latest.started_at.date(),
        "first_trial_on": (kept or trials)[0].started_at.date(),
        "worst_severity": max((usable or kept), key=lambda trial: trial.severity).worst_severity if kept else "fine",
        "between_trial_source": "",
        "heterogeneous": False,
    }
    levels = [trial.start_level for trial in kept if trial.usable]
    if levels:
        values |= {"start_level_low": min(levels), "start_level_high": max(levels)}
    return values


def _runs(trials: Sequence[SummaryTrial], pooled: Repeatability) -> RunsOfSetting | None:
    """Times to clear of the trials that use the newest trial's clear level and started above it."""
    usable = [trial for trial in trials if trial.usable and trial.excluded_at is None]
    if not usable:
        return None
    newest = usable[-1]
    alike = [
        t
        for t in usable
        if t.clear_level_kind == newest.clear_level_kind
        and t.clear_level_value == newest.clear_level_value
        and t.start_level > t.clear_level
    ]
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
        return None
    # at a share of the start level the amount of smoke does not matter
    start_level = None if newest.clear_level_kind == "share_of_start" else median(t.start_level for t in alike)
    return RunsOfSetting(times, pooled, start_level)


def _present(session: Session, setting_ids: Collection[int] | None) -> dict[GroupKey, tuple[int, tuple[Any, ...]]]:
    """Stored summaries: id and values, in the order of `summary_values`."""
    connection = session.connection()
    if setting_ids is None:
        rows = connection.execute(_present_query())
    else:
        rows = connection.execute(_present_query_of_settings(), {"settings": list(setting_ids)})
    return {GroupKey(*row[1:5]): (row[0], tuple(row[5:])) for row in rows}


@cache
def _present_query_of_settings() -> Select[*tuple[Any, ...]]:
    return _present_query().where(SettingSummary.setting_id.in_(bindparam("settings", expanding=True)))


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
