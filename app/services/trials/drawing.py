"""Data of one trial's chart: its curve, and its marks in log time."""

from dataclasses import dataclass, replace
from datetime import UTC, datetime

import numpy as np
from sqlalchemy.orm import Session

from app.compute.decay.analysis import decay_curve
from app.compute.decay.result import ChannelDecay
from app.errors import NotFound
from app.reading_files.headers.channels import in_order
from app.services.adding_trials.preview import LogPreview
from app.services.logs.readings import LogReadings, read_readings, thinned_positions
from app.services.logs.trial_fields import TrialMarks, check_marks
from app.services.results.rows import stored_channel_decay
from app.services.results.trial_results import analyse_stored_trial
from app.services.trials.decay_curves import FIT_POINTS, POINTS_OF_ONE_TRIAL, DecayCurve, plain_numbers
from app.services.trials.detail import TrialDetail, trial_detail
from app.storage.models.trials import Trial


@dataclass(frozen=True, slots=True)
class TrialDrawing:
    """`curve` counts from unit on; the marks are minutes after the first reading, None if missing."""

    curve: DecayCurve
    channel: str
    unit: str
    smoke_start_min: float | None
    smoke_end_min: float | None  # only if a person marked it
    unit_on_min: float
    end_min: float


def trial_drawing(session: Session, trial_id: int, channel: str = "", marks: TrialMarks | None = None) -> TrialDrawing:
    """A stored trial, with its own or with other marks.

    channel : empty for the first of the trial's channels. Raises NotFound, or InvalidValue for marks that do not fit.
    """
    detail = trial_detail(session, trial_id)
    chosen = channel or next((each.channel for each in detail.channels), "")
    found = detail.channel(chosen)
    if found is None:
        raise NotFound(f"result of trial {trial_id} for the channel", repr(chosen[:40]))
    readings = read_readings(session, detail.trial.log_id, [chosen])
    decay = stored_channel_decay(found.result)
    if marks is not None:
        check_marks(marks, float(readings.elapsed_s[-1]))
    if marks is not None or not found.result.usable:  # no fit is stored of an unusable trial
        decay = analyse_stored_trial(session, detail.trial, marks).decays[chosen]
    drawing = _drawing(readings, decay, detail)
    ended_s = detail.trial.smoke_end_s if marks is None else marks.smoke_end_s
    return drawing if ended_s is None else replace(drawing, smoke_end_min=ended_s / 60)


def log_drawing(preview: LogPreview) -> TrialDrawing:
    """A staged log, by its first channel. Raises NotFound if it has no channel that is analysed."""
    names = in_order(preview.decays)
    decay = preview.decays.get(next(iter(names), ""))
    if decay is None:
        raise NotFound("particle channel in", preview.log.upload.file_name)
    table = preview.log.table
    return _drawing(LogReadings(table.elapsed_s, table.levels, table.units), decay, None, preview.log.upload.file_name)


def _drawing(
    readings: LogReadings, decay: ChannelDecay, detail: TrialDetail | None, file_name: str = ""
) -> TrialDrawing:
    trial = detail.trial if detail else None
    unit = trial.unit_under_test if trial else None
    setting = trial.setting.name if trial and trial.setting else ""
    name = f"{unit.maker} {unit.model}" if unit else "Empty room" if trial else file_name
    return TrialDrawing(
        curve=_curve(readings, decay, trial, name, setting),
        channel=decay.channel,
        unit=decay.unit,
        smoke_start_min=None if decay.smoke_start_h is None else 60 * decay.smoke_start_h,
        smoke_end_min=None,
        unit_on_min=60 * decay.unit_on_h,
        end_min=60 * decay.end_h,
    )


def _curve(readings: LogReadings, decay: ChannelDecay, trial: Trial | None, name: str, setting: str) -> DecayCurve:
    """All readings of the log and the fit, in minutes from unit on; `trial` is None for a staged log."""
    elapsed_s, levels = readings.elapsed_s, readings.levels[decay.channel]
    held = np.isfinite(levels)
    minutes, level = elapsed_s[held] / 60 - 60 * (decay.late_h + decay.unit_on_h), levels[held]
    places = thinned_positions(minutes, level, POINTS_OF_ONE_TRIAL)
    minutes, level = minutes[places], level[places]
    end_min = 60 * (decay.end_h - decay.unit_on_h)
    rate = decay.fit.decay_rate if decay.fit else None
    drawn = decay if decay.rejected_fit is None else replace(decay, fit=decay.rejected_fit)
    fit, window, fit_minutes, fitted = drawn.fit, None, np.empty(0), (np.empty(0), np.empty(0), np.empty(0))
    if fit is not None and fit.decay_rate is not None:
        window = (60 * (fit.window_start_h - decay.unit_on_h), 60 * (fit.window_end_h - decay.unit_on_h))
        fit_minutes = np.linspace(window[0], max(end_min, window[1]), FIT_POINTS)
        fitted = decay_curve(drawn, fit_minutes)
        if not bool(np.all(np.isfinite(fitted[0]))):
            fit_minutes, fitted = np.empty(0), (np.empty(0), np.empty(0), np.empty(0))
    return DecayCurve(
        trial_id=trial.id if trial else 0,
        unit_id=None,
        name=name,
        setting=setting,
        room=trial.room.name if trial else "",
        started_at=trial.started_at if trial else datetime.fromtimestamp(0, UTC),
        kind=trial.kind if trial else "",
        usable=decay.usable,
        excluded=False,
        minutes=plain_numbers(minutes),
        levels=plain_numbers(level),
        fit_minutes=plain_numbers(fit_minutes),
        fit_levels=plain_numbers(fitted[0]),
        fit_low=plain_numbers(np.maximum(fitted[1], 0.0)),
        fit_high=plain_numbers(fitted[2]),
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
