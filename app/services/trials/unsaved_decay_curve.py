"""Decay curve of an analysis that is not stored: of a staged file, or of a trial under other marks."""

from datetime import UTC, datetime

import numpy as np
from numpy.typing import NDArray

from app.compute.decay.analysis import decay_curve
from app.compute.decay.result import ChannelDecay
from app.services.logs.readings import thinned_positions
from app.services.trials.decay_curves import DecayCurve

_POINTS = 2000
_FIT_POINTS = 120


def unsaved_decay_curve(
    elapsed_s: NDArray[np.float64],
    levels: NDArray[np.float64],
    decay: ChannelDecay,
    *,
    name: str,
    kind: str,
    room: str = "",
    setting: str = "",
    trial_id: int = 0,
    started_at: datetime | None = None,
) -> DecayCurve:
    """All readings of the log and the fit, counted in minutes from unit on.

    elapsed_s, levels : readings of the channel; not-a-number where there is none
    trial_id : 0 for a file that is not a trial yet
    """
    held = np.isfinite(levels)
    minutes, level = elapsed_s[held] / 60 - 60 * decay.unit_on_h, levels[held]
    places = thinned_positions(minutes, level, _POINTS)
    minutes, level = minutes[places], level[places]
    end_min = 60 * (decay.end_h - decay.unit_on_h)
    fit, rate = decay.fit, decay.fit.decay_rate if decay.fit else None
    window, fit_minutes, fitted = None, np.empty(0), (np.empty(0), np.empty(0), np.empty(0))
    if fit is not None and rate is not None:
        window = (60 * (fit.window_start_h - decay.unit_on_h), 60 * (fit.window_end_h - decay.unit_on_h))
        fit_minutes = np.linspace(window[0], max(end_min, window[1]), _FIT_POINTS)
        fitted = decay_curve(decay, fit_minutes)
        if not bool(np.all(np.isfinite(fitted[0]))):
            fit_minutes, fitted = np.empty(0), (np.empty(0), np.empty(0), np.empty(0))
    return DecayCurve(
        trial_id=trial_id,
        unit_id=None,
        name=name,
        setting=setting,
        room=room,
        started_at=started_at or datetime.fromtimestamp(0, UTC),
        kind=kind,
        usable=decay.usable,
        excluded=False,
        minutes=_plain(minutes),
        levels=_plain(level),
        fit_minutes=_plain(fit_minutes),
        fit_levels=_plain(fitted[0]),
        fit_low=_plain(np.maximum(fitted[1], 0.0)),
        fit_high=_plain(fitted[2]),
        fit_window_min=window,
        start_level=decay.start_level,
        start_level_uncertainty=decay.start_level_uncertainty,
        end_min=end_min,
        clear_level=decay.time_to_clear.clear_level,
        cleared=decay.time_to_clear.reached,
        time_to_clear_min=decay.time_to_clear.value_min,
        time_to_clear_uncertainty_min=decay.time_to_clear.uncertainty_min,
        not_cleared_before_min=decay.time_to_clear.not_before_min,
        total_decay_per_h=rate.value if rate else None,
        total_decay_uncertainty_per_h=rate.uncertainty if rate else None,
    )


def _plain(values: NDArray[np.float64]) -> tuple[float, ...]:
    return tuple(float(f"{value:.6g}") for value in values.tolist())
