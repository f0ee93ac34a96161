"""The analysis of a log as JSON for outside scripts, without not-a-number."""

import math
from datetime import UTC
from typing import Any

from app.compute.clean_air.conversions import CUBIC_FEET_PER_MINUTE_PER_M3_PER_H
from app.compute.decay.verdict import Verdict
from app.compute.statistics.asymmetric import AsymmetricMeasured
from app.compute.statistics.measured import Measured
from app.services.results.analyse_log import ChannelAnalysis, LogAnalysis


def analysis_json(analysis: LogAnalysis) -> dict[str, Any]:
    """Method, log and channels, as `hazefall analyse --json` prints them."""
    table = analysis.table
    started = table.started_at.astimezone(UTC).isoformat().replace("+00:00", "Z")
    return {
        "method": {"name": analysis.method_name, "version": analysis.method_version},
        "log": {
            "sha256": table.sha256,
            "readings": len(table.elapsed_s),
            "rows_skipped": table.rows_skipped,
            "interval_s": finite(table.interval_s),
            "started_at": started if table.clock_is_known else None,
            "channels": list(table.levels),
            "notes": list(table.notes),
        },
        "channels": {name: _channel_json(channel) for name, channel in analysis.channels.items()},
    }


def verdict_json(verdict: Verdict) -> dict[str, Any]:
    """Status, reasons, and what to do, as sentences."""
    return {
        "status": verdict.status,
        "reasons": list(verdict.reasons),
        "advice": [advice.words for advice in verdict.advice],
    }


def measured_json(quantity: Measured | AsymmetricMeasured | None) -> dict[str, float | None] | None:
    """A measured quantity as an object; None for one that does not exist."""
    if quantity is None:
        return None
    return {
        "value": finite(quantity.value),
        "uncertainty": finite(quantity.uncertainty),
        "low_95": finite(quantity.low_95),
        "high_95": finite(quantity.high_95),
    }


def finite(number: float | None) -> float | None:
    return None if number is None or not math.isfinite(number) else float(number)


def _channel_json(channel: ChannelAnalysis) -> dict[str, Any]:
    decay, fit, clear = channel.decay, channel.decay.fit, channel.decay.time_to_clear
    exists = fit is not None and fit.decay_rate is not None
    rate = channel.clean_air_delivery_rate
    cleared = measured_json(decay.time_to_clear_measured) or {"value": finite(clear.value_min)}
    return {
        "verdict": verdict_json(channel.verdict),
        "unit": decay.unit,
        "unit_on_min": measured_json(decay.unit_on_min),
        "start_level": finite(decay.start_level),
        "start_level_measured": measured_json(decay.start_level_measured),
        "background_level": finite(fit.background.value) if fit and fit.background else None,
        "background_level_measured": measured_json(fit.background if fit else None),
        "fit_window_min": [
            finite(60 * (fit.window_start_h - decay.unit_on_h)),
            finite(60 * (fit.window_end_h - decay.unit_on_h)),
        ]
        if fit and exists
        else None,
        "readings_fitted": fit.readings_fitted if fit else 0,
        "total_decay_per_h": measured_json(channel.total_decay),
        "natural_decay_per_h": measured_json(channel.natural_decay),
        "clean_air_delivery_rate_m3_per_h": measured_json(rate),
        "clean_air_delivery_rate_cfm": measured_json(rate.times(CUBIC_FEET_PER_MINUTE_PER_M3_PER_H) if rate else None),
        "air_changes_per_h": measured_json(channel.air_changes_per_h),
        "time_to_clear_min": {
            "reached": clear.reached,
            "value": cleared["value"],
            "uncertainty": cleared.get("uncertainty"),
            "low_95": cleared.get("low_95"),
            "high_95": cleared.get("high_95"),
            "not_before": finite(clear.not_before_min),
            "predicted": measured_json(clear.predicted),
        },
        "standard_clearing_time_min": measured_json(channel.standard_clearing_time_min),
        "systematic": [
            {"source": line.source, "relative_uncertainty": line.relative_uncertainty, "basis": line.basis}
            for line in channel.systematic
        ],
        "r_squared": finite(fit.r_squared) if fit and exists else None,
        "notes": [{"code": n.code, "severity": n.severity, "message": n.text} for n in channel.notes],
    }
