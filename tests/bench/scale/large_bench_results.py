"""Results, natural decay pools and summaries of the generated bench, drawn around the true rates."""

from dataclasses import dataclass
from datetime import timedelta

import numpy as np

from app.compute.statistics.measured import coverage_factor_95
from tests.bench.scale.large_bench_rows import FIRST_DAY, NATURAL_DECAY, Row, at_noon

CHANNELS = ("pm1", "pm2_5", "pm10")
CLEAR_LEVEL = 10.0
BACKGROUND = 3.0
POOL_UNCERTAINTY = 0.004  # of the natural decay, which a hundred runs share [1/h]
VOLUME_SHARE = 0.01


@dataclass(frozen=True, slots=True)
class BenchTruth:
    """One entry for each trial; `setting` and `unit` are 0 with an empty room. Decays in 1/h, run in h."""

    setting: np.ndarray
    unit: np.ndarray
    room: np.ndarray
    volume_m3: np.ndarray
    total_decay_per_h: dict[str, np.ndarray]
    start_level: np.ndarray
    day: np.ndarray
    run_h: np.ndarray


def result_rows(
    truth: BenchTruth, method_version: str, rng: np.random.Generator
) -> tuple[list[Row], list[Row], list[Row], list[Row]]:
    """Pools, the runs of each pool, one result for each trial and channel, and their notes."""
    pools, pool_runs, pool_ids = _pools(truth, method_version)
    results: list[Row] = []
    notes: list[Row] = []
    for index in range(len(truth.setting)):
        for channel in CHANNELS:
            result_id = len(results) + 1
            results.append(_result(truth, index, channel, result_id, pool_ids, method_version, rng))
            if result_id % 9 == 0:
                notes.append(
                    {
                        "result_id": result_id,
                        "position": 0,
                        "code": "generated_note",
                        "severity": "care",
                        "message": "A note of the generated bench, as long as an ordinary sentence about a trial is.",
                    }
                )
    return pools, pool_runs, results, notes


def _pools(truth: BenchTruth, method_version: str) -> tuple[list[Row], list[Row], dict[tuple[int, str], int]]:
    pools: list[Row] = []
    pool_runs: list[Row] = []
    pool_ids: dict[tuple[int, str], int] = {}
    for room in np.unique(truth.room).tolist():
        runs = np.flatnonzero((truth.setting == 0) & (truth.room == room))
        if len(runs) == 0:
            continue
        for channel in CHANNELS:
            pool_id = len(pools) + 1
            pool_ids[room, channel] = pool_id
            pools.append(
                {
                    "id": pool_id,
                    "room_id": room,
                    "channel": channel,
                    "natural_decay_per_h": NATURAL_DECAY[channel],
                    "uncertainty_per_h": POOL_UNCERTAINTY,
                    "degrees_of_freedom": max(len(runs) - 1, 1),
                    "between_run_sd_per_h": 0.015,
                    "number_of_runs": len(runs),
                    "first_run_on": FIRST_DAY + timedelta(days=int(truth.day[runs[0]])),
                    "last_run_on": FIRST_DAY + timedelta(days=int(truth.day[runs[-1]])),
                    "method_version": method_version,
                }
            )
            pool_runs.extend({"pool_id": pool_id, "trial_id": int(r) + 1, "weight": 1 / len(runs)} for r in runs)
    return pools, pool_runs, pool_ids


def _result(
    truth: BenchTruth,
    index: int,
    channel: str,
    result_id: int,
    pool_ids: dict[tuple[int, str], int],
    method_version: str,
    rng: np.random.Generator,
) -> Row:
    total = float(truth.total_decay_per_h[channel][index])
    spread = 0.01 * total + 0.003
    start = float(truth.start_level[index])
    run_min = 60 * float(truth.run_h[index])
    running = truth.setting[index] > 0
    clear_min = 60 * np.log(start / (CLEAR_LEVEL - BACKGROUND)) / total
    cleared = bool(clear_min < 0.9 * run_min)
    standard_min = 60 * np.log(20.0) / total
    volume = float(truth.volume_m3[index])
    rate = volume * (total - NATURAL_DECAY[channel])
    rate_spread = np.hypot(volume * np.hypot(spread, POOL_UNCERTAINTY), VOLUME_SHARE * rate)
    pool_id = pool_ids.get((int(truth.room[index]), channel)) if running else None
    has_rate = pool_id is not None
    return {
        "id": result_id,
        "trial_id": index + 1,
        "channel": channel,
        "unit": "µg/m³",
        "method_version": method_version,
        "computed_at": at_noon(int(truth.day[index])),
        "usable": True,
        "smoke_start_s": 0.0,
        "peak_s": 0.1 * 60 * run_min,
        "unit_on_s": 0.1 * 60 * run_min,
        "unit_on_found": True,
        "end_s": 60 * run_min,
        "interval_s": 10.0,
        "readings": int(6 * run_min),
        "start_level": start,
        "peak_level": 1.02 * start,
        "end_level": BACKGROUND + start * float(np.exp(-total * 0.9 * run_min / 60)),
        "fit_converged": True,
        "background_level": BACKGROUND + 0.1 * float(rng.standard_normal()),
        "background_uncertainty": 0.1,
        "background_choice": "fitted",
        "amplitude": start,
        "amplitude_uncertainty": 0.01 * start,
        "covariance_background_amplitude": 0.0,
        "covariance_background_rate": 0.0,
        "covariance_amplitude_rate": 0.0,
        "fit_window_start_min": 3.0,
        "fit_window_end_min": 0.9 * run_min,
        "readings_fitted": int(5 * run_min),
        "total_decay_per_h": total,
        "total_decay_uncertainty_per_h": spread,
        "total_decay_degrees_of_freedom": 120.0,
        "statistical_uncertainty_per_h": spread,
        "window_sensitivity_per_h": 0.2 * spread,
        "r_squared": 0.998,
        "residual_spread": 1.0,
        "lag_one_autocorrelation": 0.3,
        "pool_id": pool_id,
        "clean_air_delivery_rate_m3_per_h": rate if has_rate else None,
        "clean_air_delivery_rate_uncertainty": rate_spread if has_rate else None,
        "clean_air_delivery_rate_degrees_of_freedom": 120.0 if has_rate else None,
        "clean_air_delivery_rate_low_95": rate - 1.98 * rate_spread if has_rate else None,
        "clean_air_delivery_rate_high_95": rate + 1.98 * rate_spread if has_rate else None,
        "clear_level": CLEAR_LEVEL,
        "cleared": cleared,
        "time_to_clear_min": clear_min if cleared else None,
        "not_cleared_before_min": None if cleared else 0.9 * run_min,
        "predicted_clear_min": clear_min,
        "predicted_clear_uncertainty_min": clear_min * spread / total,
        "standard_clearing_time_min": standard_min,
        "standard_clearing_time_uncertainty_min": standard_min * spread / total,
        "standard_clearing_time_low_95_min": standard_min * (1 - 1.98 * spread / total),
        "standard_clearing_time_high_95_min": standard_min * (1 + 1.98 * spread / total),
    }


def summary_rows(truth: BenchTruth, results: list[Row], method_version: str) -> list[Row]:
    """One row for each setting and channel that has a trial: the mean of its trials with a t interval."""
    by_setting: dict[int, list[int]] = {}
    for index, setting in enumerate(truth.setting.tolist()):
        if setting:
            by_setting.setdefault(setting, []).append(index)
    return [
        _summary(truth, setting, indices, channel, position, results, method_version)
        for setting, indices in by_setting.items()
        for position, channel in enumerate(CHANNELS)
    ]


def _summary(
    truth: BenchTruth,
    setting: int,
    indices: list[int],
    channel: str,
    position: int,
    results: list[Row],
    method_version: str,
) -> Row:
    total = truth.total_decay_per_h[channel][indices]
    count = len(indices)
    between = float(np.std(total, ddof=1)) if count > 1 else 0.03 * float(total[0]) + 0.01
    mean, spread, freedom = float(np.mean(total)), float(between / np.sqrt(count)), float(max(count - 1, 1))
    volume = float(truth.volume_m3[indices[0]])
    rate = volume * (mean - NATURAL_DECAY[channel])
    rate_spread = float(np.hypot(volume * np.hypot(spread, POOL_UNCERTAINTY), VOLUME_SHARE * rate))
    reach = coverage_factor_95(freedom)
    own = [results[3 * index + position] for index in indices]
    times = sorted(float(str(row["time_to_clear_min"])) for row in own if row["cleared"])
    standard = 60 * np.log(20.0) / mean
    last = indices[-1]
    has_pool = own[0]["pool_id"] is not None
    measurable = rate - reach * rate_spread > 0
    return {
        "unit_under_test_id": int(truth.unit[last]),
        "setting_id": setting,
        "room_id": int(truth.room[last]),
        "channel": channel,
        "aerosol": "smoke",
        "method_version": method_version,
        "computed_at": at_noon(int(truth.day[last])),
        "trials": count,
        "usable_trials": count,
        "excluded_trials": 0,
        "censored_trials": count - len(times),
        "latest_trial_id": last + 1,
        "latest_trial_on": FIRST_DAY + timedelta(days=int(truth.day[last])),
        "total_decay_per_h": mean,
        "total_decay_uncertainty_per_h": spread,
        "total_decay_degrees_of_freedom": freedom,
        "between_trial_sd_per_h": between,
        "between_trial_source": "own repeats" if count > 1 else "bench repeatability",
        "pool_id": own[0]["pool_id"],
        "clean_air_delivery_rate_m3_per_h": rate if has_pool else None,
        "clean_air_delivery_rate_uncertainty": rate_spread if has_pool else None,
        "clean_air_delivery_rate_degrees_of_freedom": freedom if has_pool else None,
        "clean_air_delivery_rate_low_95": rate - reach * rate_spread if has_pool else None,
        "clean_air_delivery_rate_high_95": rate + reach * rate_spread if has_pool else None,
        "measurable": measurable if has_pool else None,
        "at_most_m3_per_h": None if measurable or not has_pool else max(rate, 0.0) + reach * rate_spread,
        "standard_clearing_time_min": standard,
        "standard_clearing_time_low_95_min": standard / (1 + reach * spread / mean),
        "standard_clearing_time_high_95_min": standard / max(1 - reach * spread / mean, 0.05),
        "time_to_clear_min": float(np.median(times)) if len(times) > count / 2 else None,
        "time_to_clear_low_min": times[0] if times else None,
        "time_to_clear_high_min": times[-1] if times else None,
        "not_cleared_before_min": None if len(times) > count / 2 else 54 * float(truth.run_h[last]),
        "start_level_low": float(np.min(truth.start_level[indices])),
        "start_level_high": float(np.max(truth.start_level[indices])),
    }
