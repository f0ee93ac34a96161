"""Rates of settings from their usable trials: total decay, clean air delivery rate, time to 95 % reduction."""

import math
from collections.abc import Mapping, Sequence
from typing import Any, NamedTuple

import numpy as np

from app.compute.clean_air.rate import clean_air_columns, standard_clearing_times
from app.compute.statistics.measured import Measured, at_least_as_wide
from app.compute.statistics.measured_columns import MeasuredColumns
from app.compute.statistics.propagation import effective_degrees_of_freedom
from app.compute.statistics.repeatability import Repeatability
from app.compute.statistics.repeats import CombinedTrials, combine_many
from app.compute.statistics.shared_parts import shared_uncertainty, without_shared_part
from app.compute.statistics.spread_sources import OWN_REPEATS
from app.services.results.rows import stored_degrees
from app.services.results.summary_trials import StoredPool, SummaryTrial


class _Rated(NamedTuple):
    """One setting on the way: its total decay, the pool that applies to it, for a single trial its own decay, and the
    logger whose linearity is in the total decay, if it is one.
    """

    combined: CombinedTrials
    total: Measured
    between_sd: float
    pool: StoredPool | None
    volume: Measured
    own: Measured | None
    logger_id: int | None


def setting_rates(
    settings: Sequence[tuple[Sequence[SummaryTrial], Repeatability]], pools: Mapping[int, StoredPool]
) -> list[dict[str, Any]]:
    """Columns of the summary of each setting, from its usable trials and the spread between repeats."""
    combined = combine_many([(_without_shared(usable), pooled) for usable, pooled in settings])
    rated = [
        _rated(usable, one, _of_check_unit(usable, one.weights, pooled), pools)
        for (usable, pooled), one in zip(settings, combined, strict=True)
    ]
    times = standard_clearing_times(MeasuredColumns.of([one.total for one in rated]))
    found = [_of_total(one) for one in rated]
    for values, time, _, low, high in zip(found, *(column.tolist() for column in times), strict=True):
        if time == time:  # a number
            values["standard_clearing_time_min"] = time
            values["standard_clearing_time_low_95_min"] = low
            values["standard_clearing_time_high_95_min"] = high
    with_pool = [place for place, one in enumerate(rated) if one.pool is not None]
    for place, values in zip(with_pool, _clean_air([rated[place] for place in with_pool]), strict=True):
        found[place] |= values
    return found


def _without_shared(usable: Sequence[SummaryTrial]) -> list[Measured]:
    return [without_shared_part(rate, t.shared.total) for t in usable if (rate := t.total_decay) is not None]


def _of_check_unit(usable: Sequence[SummaryTrial], weights: Sequence[float], pooled: Repeatability) -> float:
    """What the check unit varies by in weeks and seasons beyond the repeatability of the bench, which the mean has
    already [1/h]. Repeats of one time share it, so it is not averaged out.
    """
    return sum(
        weight * math.sqrt(max(0.0, (trial.check_unit_share or 0.0) ** 2 - pooled.relative_sd**2)) * abs(rate.value)
        for weight, trial in zip(weights, usable, strict=True)
        if (rate := trial.total_decay) is not None
    )


def _rated(
    usable: Sequence[SummaryTrial], combined: CombinedTrials, of_check_unit: float, pools: Mapping[int, StoredPool]
) -> _Rated:
    # The pool of the middle trial represents the setting: a steady drift of the room then cancels in the mean.
    middle = (len(usable) - 1) / 2
    with_pool = sorted(range(len(usable)), key=lambda place: abs(place - middle))
    ids = (usable[place].pool_id for place in with_pool)
    pool = next((pools[i] for i in ids if i is not None and i in pools), None)
    days = len({trial.started_at.date() for trial in usable})
    total, between_sd = _with_spread_between_days(combined, pool, days)
    parts, loggers = [trial.shared for trial in usable], [trial.logger_id for trial in usable]
    shared = math.hypot(shared_uncertainty(combined.weights, parts, loggers), of_check_unit)
    total = _with_what_repeats_share(total, shared)
    alone = usable[0].total_decay if len(usable) == 1 else None
    if alone is not None:
        total = at_least_as_wide(total, alone)
    one_logger = len(set(loggers)) == 1 and all(part.linearity > 0 for part in parts)
    return _Rated(combined, total, between_sd, pool, usable[-1].volume, alone, loggers[0] if one_logger else None)


def _of_total(rated: _Rated) -> dict[str, Any]:
    return {
        "total_decay_per_h": rated.total.value,
        "total_decay_uncertainty_per_h": rated.total.uncertainty,
        "total_decay_degrees_of_freedom": stored_degrees(rated.total.degrees_of_freedom),
        "between_trial_sd_per_h": rated.between_sd,
        "between_trial_source": rated.combined.between_trial_source,
        "heterogeneous": rated.combined.heterogeneous,
        "logger_id": rated.logger_id,
    }


def _clean_air(rated: Sequence[_Rated]) -> list[dict[str, Any]]:
    """Columns of the clean air delivery rate, of settings with a pool."""
    pools = [one.pool for one in rated if one.pool is not None]
    volume = MeasuredColumns.of([one.volume for one in rated])
    natural = MeasuredColumns.of([pool.natural_decay for pool in pools])
    found = clean_air_columns(MeasuredColumns.of([one.total for one in rated]), natural, volume)
    single = [place for place, (one, pool) in enumerate(zip(rated, pools, strict=True)) if _is_single(one, pool)]
    own = clean_air_columns(
        MeasuredColumns.of([total for place in single if (total := rated[place].own) is not None]),
        MeasuredColumns.of([day for place in single if (day := pools[place].on_one_day) is not None]),
        MeasuredColumns.of([rated[place].volume for place in single]),
    ).rate
    # the interval of a single trial is no narrower than its own on that day
    narrow = found.rate.expanded_uncertainty_95[single] < own.expanded_uncertainty_95
    wider = {
        single[at]: at_least_as_wide(found.rate.row(single[at]), own.row(at)) for at in np.flatnonzero(narrow).tolist()
    }
    values = []
    for place, pool in enumerate(pools):
        rate = wider.get(place) or found.rate.row(place)
        measurable = bool(found.measurable[place])
        values.append(
            {
                "pool_id": pool.id,
                "clean_air_delivery_rate_m3_per_h": rate.value,
                "clean_air_delivery_rate_uncertainty": rate.uncertainty,
                "clean_air_delivery_rate_degrees_of_freedom": stored_degrees(rate.degrees_of_freedom),
                "clean_air_delivery_rate_low_95": rate.low_95,
                "clean_air_delivery_rate_high_95": rate.high_95,
                "measurable": measurable,
                "at_most_m3_per_h": None if measurable else float(found.at_most[place]),
            }
        )
    return values


def _is_single(rated: _Rated, pool: StoredPool) -> bool:
    return rated.own is not None and pool.on_one_day is not None


def _with_spread_between_days(combined: CombinedTrials, pool: StoredPool | None, days: int) -> tuple[Measured, float]:
    """Widens the total decay to at least the day-to-day spread of the empty room.

    The bench's repeatability is relative to the rate. A slow unit's rate varies from day to day by at least as much
    as the natural decay in it, which a relative figure underestimates. The trials' own scatter already includes it.
    """
    total, between_sd = combined.total_decay, combined.between_trial_sd_per_h
    if pool is None or combined.between_trial_source == OWN_REPEATS or pool.between_run_sd_per_h <= between_sd:
        return total, between_sd
    missing = math.sqrt((pool.between_run_sd_per_h**2 - between_sd**2) / days)
    degrees = math.inf if pool.on_one_day is None else pool.on_one_day.degrees_of_freedom
    parts = [(total.uncertainty, total.degrees_of_freedom), (missing, degrees)]
    uncertainty = math.hypot(total.uncertainty, missing)
    return Measured(total.value, uncertainty, effective_degrees_of_freedom(parts)), pool.between_run_sd_per_h


def _with_what_repeats_share(total: Measured, shared: float) -> Measured:
    """Adds to the mean of repeats the parts that repeating does not reduce."""
    if shared == 0.0:
        return total
    parts = [(total.uncertainty, total.degrees_of_freedom), (shared, math.inf)]
    wider = Measured(total.value, math.hypot(total.uncertainty, shared), effective_degrees_of_freedom(parts))
    return at_least_as_wide(wider, total)
