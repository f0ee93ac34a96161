"""Rebuilds the stored analysis of a channel, to draw its fitted curve."""

from app.compute.decay.result import ChannelDecay, DecayFit, TimeToClear
from app.compute.statistics.measured import Measured
from app.services.results.rows import stored_measured
from app.storage.models.trials import ChannelResult


def stored_fit(row: ChannelResult) -> DecayFit | None:
    """The fit of a stored result; None without a decay."""
    if row.fit_window_start_min is None or row.fit_window_end_min is None:
        return None
    unit_on_h = row.unit_on_s / 3600
    return DecayFit(
        fit_converged=row.fit_converged,
        why_not=row.why_not,
        decay_rate=stored_measured(
            row.total_decay_per_h, row.total_decay_uncertainty_per_h, row.total_decay_degrees_of_freedom
        ),
        statistical_uncertainty_per_h=row.statistical_uncertainty_per_h or 0.0,
        window_sensitivity_per_h=row.window_sensitivity_per_h or 0.0,
        background=stored_measured(row.background_level, row.background_uncertainty, None),
        amplitude=stored_measured(row.amplitude, row.amplitude_uncertainty, None),
        covariance=_covariance(row),
        background_choice=row.background_choice,
        window_start_h=unit_on_h + row.fit_window_start_min / 60,
        window_end_h=unit_on_h + row.fit_window_end_min / 60,
        readings_fitted=row.readings_fitted,
        r_squared=row.r_squared or 0.0,
        residual_spread=row.residual_spread or 0.0,
        lag_one_autocorrelation=row.lag_one_autocorrelation or 0.0,
        humidity_uncertainty_per_h=row.humidity_uncertainty_per_h or 0.0,
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
