"""Converts results of `compute/` (hours in log time) to rows of `channel_results` (seconds, and minutes from unit
on)."""

import math
from collections.abc import Mapping, Sequence
from typing import Any, cast

import numpy as np
from numpy.typing import NDArray

from app.compute.decay.result import ChannelDecay, DecayFit, TimeToClear
from app.compute.statistics.measured import Measured, measured_or_none
from app.compute.statistics.measured_columns import MeasuredColumns
from app.compute.wording.notes import ADVICE_WORDS, END_OR_START, Advice, Note, Severity
from app.services.logs.logger_noise import numbers_of, stored_noise, text_of
from app.storage.models.trials import ChannelResult, ResultNote

Floats = NDArray[np.float64]

# Relative difference of results that count as the same on another machine. Another processor adds in another order,
# which changed no number of 2,000 simulated logs by more than 0.4 of this, and no rate by more than 2e-8
# (tests/studies/intervals/other_processors.txt).
SAME_WITHIN = 1e-4

_OF_CLEAN_AIR = ("clean_air_delivery_rate_uncertainty",)
_UNCERTAINTIES = {
    "clean_air_delivery_rate_m3_per_h": _OF_CLEAN_AIR,
    "clean_air_delivery_rate_low_95": _OF_CLEAN_AIR,
    "clean_air_delivery_rate_high_95": _OF_CLEAN_AIR,
    "total_decay_per_h": ("total_decay_uncertainty_per_h",),
    "background_level": ("background_uncertainty",),
    "covariance_background_amplitude": ("background_uncertainty", "amplitude_uncertainty"),
    "covariance_background_rate": ("background_uncertainty", "total_decay_uncertainty_per_h"),
    "covariance_amplitude_rate": ("amplitude_uncertainty", "total_decay_uncertainty_per_h"),
}

# Columns of the fit, empty without one.
_FIT_COLUMNS = (
    "background_level",
    "background_uncertainty",
    "amplitude",
    "amplitude_uncertainty",
    "covariance_background_amplitude",
    "covariance_background_rate",
    "covariance_amplitude_rate",
    "fit_window_start_min",
    "fit_window_end_min",
    "total_decay_per_h",
    "total_decay_uncertainty_per_h",
    "total_decay_degrees_of_freedom",
    "statistical_uncertainty_per_h",
    "window_sensitivity_per_h",
    "r_squared",
    "residual_spread",
    "lag_one_autocorrelation",
    "humidity_uncertainty_per_h",
    "background_drift_uncertainty_per_h",
    "warm_up_uncertainty_per_h",
    "curvature_uncertainty_per_h",
)


def analysis_values(decay: ChannelDecay) -> dict[str, object]:
    """Columns computed from the readings alone, for one channel; not-a-number becomes NULL."""
    clear = decay.time_to_clear
    values: dict[str, object] = {
        "smoke_start_s": _seconds(decay.smoke_start_h),
        "peak_s": _seconds(decay.peak_h),
        "unit_on_s": _seconds(decay.unit_on_h),
        "unit_on_found": decay.unit_on_found,
        "unit_on_uncertainty_s": _seconds(decay.unit_on_uncertainty_h),
        "end_s": _seconds(decay.end_h),
        "interval_s": decay.interval_s,
        "readings": decay.readings,
        "start_level": decay.start_level,
        "start_level_uncertainty": _finite(decay.start_level_uncertainty),
        "peak_level": decay.peak_level,
        "end_level": decay.end_level,
        "clear_level": clear.clear_level,
        "cleared": clear.reached,
        "time_to_clear_min": _finite(clear.value_min),
        "time_to_clear_uncertainty_min": _finite(clear.uncertainty_min),
        "not_cleared_before_min": _finite(clear.not_before_min),
        "predicted_clear_min": clear.predicted.value if clear.predicted else None,
        "predicted_clear_uncertainty_min": clear.predicted.uncertainty if clear.predicted else None,
    }
    values |= {
        "noise_prior": text_of(decay.of_logger.shares) if decay.of_logger.trials else None,
        "noise_prior_trials": decay.of_logger.trials,
        "noise_evidence": text_of(decay.noise_evidence),
        "stamped_late_s": _seconds(decay.late_h) if decay.late_h else None,
    }
    return values | _fit_values(decay.fit, decay.unit_on_h)


def _fit_values(fit: DecayFit | None, unit_on_h: float) -> dict[str, object]:
    if fit is None:
        said = {"fit_converged": False, "why_not": "", "background_choice": "", "readings_fitted": 0}
        return dict.fromkeys(_FIT_COLUMNS) | said
    rate, background, amplitude = fit.decay_rate, fit.background, fit.amplitude
    covariance = fit.covariance if len(fit.covariance) == 3 else None
    return {
        "fit_converged": fit.fit_converged,
        "why_not": fit.why_not,
        "background_level": background.value if background else None,
        "background_uncertainty": background.uncertainty if background else None,
        "background_choice": fit.background_choice,
        "amplitude": amplitude.value if amplitude else None,
        "amplitude_uncertainty": amplitude.uncertainty if amplitude else None,
        "covariance_background_amplitude": _finite(covariance[0][1]) if covariance else None,
        "covariance_background_rate": _finite(covariance[0][2]) if covariance else None,
        "covariance_amplitude_rate": _finite(covariance[1][2]) if covariance else None,
        "fit_window_start_min": _finite(60 * (fit.window_start_h - unit_on_h)),
        "fit_window_end_min": _finite(60 * (fit.window_end_h - unit_on_h)),
        "readings_fitted": fit.readings_fitted,
        "total_decay_per_h": rate.value if rate else None,
        "total_decay_uncertainty_per_h": rate.uncertainty if rate else None,
        "total_decay_degrees_of_freedom": _finite(rate.degrees_of_freedom) if rate else None,
        "statistical_uncertainty_per_h": _finite(fit.statistical_uncertainty_per_h),
        "window_sensitivity_per_h": _finite(fit.window_sensitivity_per_h),
        "r_squared": _finite(fit.r_squared),
        "residual_spread": _finite(fit.residual_spread),
        "lag_one_autocorrelation": _finite(fit.lag_one_autocorrelation),
        "humidity_uncertainty_per_h": _finite(fit.humidity_uncertainty_per_h),
        "background_drift_uncertainty_per_h": _finite(fit.background_drift_uncertainty_per_h),
        "warm_up_uncertainty_per_h": _finite(fit.warm_up_uncertainty_per_h),
        "curvature_uncertainty_per_h": fit.curvature_uncertainty_per_h or None,
    }


def stored_columns(rows: Sequence[Sequence[Any]]) -> MeasuredColumns:
    """Measured quantities from rows of their three columns; a value is not-a-number where there is none."""
    value, uncertainty, degrees = float_columns(rows)
    value = np.where(np.isnan(uncertainty), np.nan, value)
    return MeasuredColumns(value, uncertainty, np.where(np.isnan(degrees), np.inf, degrees))


def float_columns(rows: Sequence[Sequence[Any]]) -> Floats:
    """Stored numbers as columns, one a row of the result; NULL is not-a-number."""
    return np.array(rows, dtype=np.float64).reshape(len(rows), len(rows[0])).T


def stored_degrees(degrees: float) -> float | None:
    """Degrees of freedom as stored: NULL if infinite."""
    return degrees if math.isfinite(degrees) else None


def note_columns(notes: Sequence[Note], first_position: int = 0) -> list[dict[str, object]]:
    """Columns of `result_notes` for notes in order, without the result id."""
    return [
        {
            "position": position,
            "code": note.code,
            "severity": note.severity,
            "message": note.message,
            "value": _finite(note.value),
            "limit": _finite(note.limit),
            "unit": note.unit,
            "at_min": _finite(note.at_min),
            "advice": note.advice.action if note.advice else "",
            "advice_value": _finite(note.advice.value) if note.advice else None,
            "advice_other_value": _finite(note.advice.other) if note.advice else None,
        }
        for position, note in enumerate(notes, start=first_position)
    ]


def stored_note(row: ResultNote) -> Note:
    """A stored note. Advice that this version does not know is left out."""
    advice = None
    if row.advice in ADVICE_WORDS or row.advice == END_OR_START:
        advice = Advice(row.advice, row.advice_value, row.advice_other_value)
    severity = cast(Severity, row.severity)  # checked by the database
    return Note(row.code, severity, row.message, row.value, row.limit, row.unit, row.at_min, advice)


def _seconds(hours: float | None) -> float | None:
    return None if hours is None else _finite(hours * 3600)


def _finite(value: float | None) -> float | None:
    return None if value is None or not math.isfinite(value) else float(value)


def stored_fit(row: ChannelResult) -> DecayFit | None:
    """The fit of a stored result; None without a decay."""
    if row.fit_window_start_min is None or row.fit_window_end_min is None:
        return None
    unit_on_h = row.unit_on_s / 3600
    return DecayFit(
        fit_converged=row.fit_converged,
        why_not=row.why_not,
        decay_rate=measured_or_none(
            row.total_decay_per_h, row.total_decay_uncertainty_per_h, row.total_decay_degrees_of_freedom
        ),
        statistical_uncertainty_per_h=row.statistical_uncertainty_per_h or 0.0,
        window_sensitivity_per_h=row.window_sensitivity_per_h or 0.0,
        background=measured_or_none(row.background_level, row.background_uncertainty, None),
        amplitude=measured_or_none(row.amplitude, row.amplitude_uncertainty, None),
        covariance=_covariance(row),
        background_choice=row.background_choice,
        window_start_h=unit_on_h + row.fit_window_start_min / 60,
        window_end_h=unit_on_h + row.fit_window_end_min / 60,
        readings_fitted=row.readings_fitted,
        r_squared=row.r_squared or 0.0,
        residual_spread=row.residual_spread or 0.0,
        lag_one_autocorrelation=row.lag_one_autocorrelation or 0.0,
        humidity_uncertainty_per_h=row.humidity_uncertainty_per_h or 0.0,
        background_drift_uncertainty_per_h=row.background_drift_uncertainty_per_h or 0.0,
        warm_up_uncertainty_per_h=row.warm_up_uncertainty_per_h or 0.0,
        curvature_uncertainty_per_h=row.curvature_uncertainty_per_h or 0.0,
    )


def stored_channel_decay(row: ChannelResult) -> ChannelDecay:
    """The analysis of a stored result, without its notes."""
    predicted = None
    if row.predicted_clear_min is not None:
        predicted = Measured(row.predicted_clear_min, row.predicted_clear_uncertainty_min or 0.0)
    return ChannelDecay(
        channel=row.channel,
        unit=row.unit,
        smoke_start_h=None if row.smoke_start_s is None else row.smoke_start_s / 3600,
        peak_h=None if row.peak_s is None else row.peak_s / 3600,
        unit_on_h=row.unit_on_s / 3600,
        end_h=row.end_s / 3600,
        unit_on_found=row.unit_on_found,
        interval_s=row.interval_s,
        readings=row.readings,
        start_level=row.start_level,
        peak_level=row.peak_level,
        end_level=row.end_level,
        fit=stored_fit(row),
        time_to_clear=TimeToClear(
            row.cleared,
            row.time_to_clear_min,
            row.not_cleared_before_min,
            predicted,
            row.clear_level,
            row.time_to_clear_uncertainty_min,
        ),
        notes=(),
        start_level_uncertainty=row.start_level_uncertainty,
        unit_on_uncertainty_h=(row.unit_on_uncertainty_s or 0.0) / 3600,
        of_logger=stored_noise(row.noise_prior, row.noise_prior_trials),
        noise_evidence=numbers_of(row.noise_evidence),
        late_h=(row.stamped_late_s or 0.0) / 3600,
    )


def _covariance(row: ChannelResult) -> tuple[tuple[float, float, float], ...]:
    """Order: background, amplitude, decay rate. Missing entries count as zero."""
    first = row.covariance_background_amplitude or 0.0
    second = row.covariance_background_rate or 0.0
    third = row.covariance_amplitude_rate or 0.0
    background = (row.background_uncertainty or 0.0) ** 2
    amplitude = (row.amplitude_uncertainty or 0.0) ** 2
    rate = (row.total_decay_uncertainty_per_h or 0.0) ** 2
    return ((background, first, second), (first, amplitude, third), (second, third, rate))


def is_same(before: object, after: object, within: float = 1e-9, size: float = 0.0) -> bool:
    """Equal, or numbers with at most this difference relative to them, or to `size` where that is larger.

    >>> is_same(0.1 + 0.2, 0.3), is_same(1.0, 1.001), is_same(None, 1.0), is_same(1.0, 1.00005, SAME_WITHIN)
    (True, False, False, True)
    """
    if isinstance(before, float) and isinstance(after, float):
        return abs(before - after) <= within * max(abs(before), abs(after), size)
    return before == after


def size_of(name: str, row: Mapping[str, Any]) -> float:
    """What a change of a stored number is small against, if the number itself is close to zero: its uncertainty, or 0
    where the row has none.

    >>> size_of("total_decay_per_h", {"total_decay_per_h": 0.0, "total_decay_uncertainty_per_h": 0.02})
    0.02
    """
    sizes = [float(row.get(column) or 0.0) for column in _UNCERTAINTIES.get(name, ())]
    size = abs(math.prod(sizes)) if sizes else 0.0
    return size if math.isfinite(size) else 0.0
