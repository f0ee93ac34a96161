"""Decay analysis of one channel of a trial: phases, fit window, rate with uncertainty, time to clear, notes."""

import math
from dataclasses import fields, replace

import numpy as np
from numpy.typing import ArrayLike

from app.compute.decay.clearing import clear_level_value, time_to_clear
from app.compute.decay.cures import Case, with_advice
from app.compute.decay.curve import decay_curve
from app.compute.decay.fit import FitOutcome, FitTerms, Readings, fit_past_the_start, no_fit
from app.compute.decay.fit_checks import fit_notes
from app.compute.decay.later_switch_on import later_switch_on_h
from app.compute.decay.local_noise import LocalNoise, crossing_uncertainty_min, local_noise
from app.compute.decay.phases import ROUNDING_H, Phases, find_phases
from app.compute.decay.reading_checks import reading_notes
from app.compute.decay.result import ChannelDecay, ClearLevel, Marks, TimeToClear
from app.compute.decay.unit_on import find_unit_on
from app.compute.decay.window import FEWEST_READINGS, ceiling_of
from app.compute.signal.logger_noise import GENERIC, LoggerNoise
from app.compute.signal.logger_timing import NOT_KNOWN, LoggerTiming
from app.compute.signal.noise import Floats, median, resolution_step
from app.compute.wording.notes import Advice, Note

__all__ = ["analyse_decay", "decay_curve"]


def analyse_decay(
    elapsed_s: ArrayLike,
    levels: ArrayLike,
    *,
    channel: str,
    unit: str,
    marks: Marks = Marks(),  # noqa: B008 -- frozen, never changed
    clear_level: ClearLevel = ClearLevel(),  # noqa: B008 -- frozen, never changed
    saturation_level: float | None = None,
    response_time_s: float | None = None,
    empty_room: bool = False,
    of_logger: LoggerNoise = GENERIC,
    timing: LoggerTiming = NOT_KNOWN,
) -> ChannelDecay:
    r"""Find the phases of a trial in one channel and its decay rate.

    .. math:: C(t) = C_b + A\,e^{-k (t - t_{on})}

    Parameters
    elapsed_s : time since the log's first reading, ascending [s]
    levels : readings; not-a-number where there is no true reading (missing, or a held value repeated) [unit]
    marks : set by a person; the others are detected from the data
    clear_level : the level that counts as cleared
    saturation_level : readings at or above it are left out; None: a plateau at the highest reading is [unit]
    response_time_s : time constant of the logger; the window starts three of them after unit on [s]
    empty_room : no unit was running, so the background before the smoke still holds during the decay
    of_logger : the logger's noise as its other trials show it
    timing : when a reading counts. Times are those that readings count at, so a late stamp is corrected before

    Returns  the full result; where there is no decay `fit.decay_rate` is None and `fit.why_not` says why

    Raises   ValueError where times and levels differ in number, times go back, or an argument is not a number

    >>> time_s = np.arange(0.0, 3600.0, 10.0)
    >>> decay = analyse_decay(time_s, 4 + 400 * np.exp(-3 * time_s / 3600), channel="pm2_5", unit="µg/m³")
    >>> round(decay.fit.decay_rate.value, 3), decay.time_to_clear.reached
    (3.0, False)
    """
    _check_arguments(marks, saturation_level, response_time_s)
    time_h, level = _true_readings(elapsed_s, levels)
    if time_h.size < 2:
        return _nothing(channel, unit, Readings(time_h, level, 0.0, 0.0, unit), marks, clear_level)
    readings = Readings(time_h, level, median(np.diff(time_h)), resolution_step(level), unit)
    ceiling = saturation_level if saturation_level is not None else ceiling_of(level)
    terms = FitTerms(marks, ceiling, response_time_s, empty_room, of_logger, evidence=True, timing=timing)
    phases, outcome, notes = _found(readings, terms)

    def retried(other: Marks) -> ChannelDecay:
        found = _found(readings, replace(terms, marks=other, evidence=False))
        return _result(channel, unit, readings, found, (clear_level, timing))

    notes = with_advice(notes, Case(readings, phases, outcome, marks, retried))
    decay = _result(channel, unit, readings, (phases, outcome, notes), (clear_level, timing))
    return replace(decay, of_logger=of_logger, noise_evidence=outcome.evidence, late_h=timing.late_s / 3600)


_Found = tuple[Phases, FitOutcome, tuple[Note, ...]]


def _found(readings: Readings, terms: FitTerms) -> _Found:
    """Phases, fit, and notes without advice."""
    is_found = terms.marks.unit_on_h is None
    phases = find_phases(readings.time_h, readings.level, terms.marks, readings.interval_h)
    if is_found:
        phases = _with_unit_on(readings, phases, terms.empty_room)
    outcome = fit_past_the_start(readings, phases, terms)
    later_h = later_switch_on_h(readings, outcome) if is_found else None
    if later_h is not None:
        phases = _with_unit_on(readings, phases, terms.empty_room, later_h)
        outcome = fit_past_the_start(readings, phases, replace(terms, evidence=False))
    of_fit = fit_notes(readings, phases, outcome, terms.response_time_s)
    return phases, outcome, (*reading_notes(readings, phases, outcome), *of_fit)


def _with_unit_on(readings: Readings, phases: Phases, empty_room: bool, later_h: float | None = None) -> Phases:
    """Phases with the switch-on read off the curve. later_h : where the fit has shown it, long after the peak."""
    at_h = phases.unit_on_h if later_h is None else later_h
    between_readings_h = readings.interval_h / math.sqrt(12)
    # an empty room has no switch-on: the run counts from the peak
    found = None if empty_room else find_unit_on(readings, phases, -math.inf if later_h is None else later_h)
    if found is None or (later_h is not None and not found.resolved):
        return replace(phases, unit_on_h=at_h, unit_on_uncertainty_h=between_readings_h)
    return replace(
        phases,
        unit_on_h=found.at_h,
        unit_on_uncertainty_h=found.uncertainty_h,
        unit_on_separable=found.separable,
    )


def _check_arguments(marks: Marks, saturation_level: float | None, response_time_s: float | None) -> None:
    for mark in fields(marks):
        value = getattr(marks, mark.name)
        if value is not None and not math.isfinite(value):
            raise ValueError(f"The mark {mark.name} is {value}; it must be a number, or None to be found.")
    if saturation_level is not None and not saturation_level > 0:
        raise ValueError(f"The saturation level is {saturation_level}; it must be above zero.")
    if response_time_s is not None and not (math.isfinite(response_time_s) and response_time_s >= 0):
        raise ValueError(f"The response time is {response_time_s} s; it must be zero or above.")


def _true_readings(elapsed_s: ArrayLike, levels: ArrayLike) -> tuple[Floats, Floats]:
    time = np.asarray(elapsed_s, dtype=float).ravel()
    level = np.asarray(levels, dtype=float).ravel()
    if time.size != level.size:
        raise ValueError(f"There are {time.size} times and {level.size} levels; each reading needs one of each.")
    held = np.isfinite(level) & np.isfinite(time)
    if not held.all():
        time, level = time[held], level[held]
    back = time[1:] < time[:-1]
    if back.any():
        place = int(back.argmax())
        raise ValueError(
            f"Time goes back from {time[place]:g} s to {time[place + 1]:g} s; times must increase. Sort the readings "
            "first."
        )
    return time / 3600, level


def _result(
    channel: str, unit: str, readings: Readings, found: _Found, asked: tuple[ClearLevel, LoggerTiming]
) -> ChannelDecay:
    phases, outcome, notes = found
    clear_level, timing = asked
    time_h, smooth = readings.time_h, phases.smooth
    start_level, peak_level, end_level = (
        float(v) for v in np.interp([phases.unit_on_h, phases.peak_h, phases.end_h], time_h, smooth)
    )
    fit = outcome.fit
    background = fit.background.value if fit.background is not None else float(smooth.min())
    if not math.isnan(outcome.before):
        background = outcome.before
    clear = clear_level_value(clear_level, start_level, background)
    at_start = _noise_at(readings, phases, phases.unit_on_h)
    cleared = time_to_clear(time_h, smooth, clear, phases.unit_on_h, phases.end_h, fit)
    if cleared.value_min is not None:
        of_clear_level = {
            "absolute": 0.0,
            "share_of_start": clear_level.value * (at_start.uncertainty if at_start else 0.0),
            "background": fit.background.uncertainty if fit.background is not None else 0.0,
        }[clear_level.kind]
        at_crossing = _noise_at(readings, phases, phases.unit_on_h + cleared.value_min / 60)
        uncertainty = crossing_uncertainty_min(
            at_crossing, of_clear_level, timing.open_h(readings.interval_h), phases.unit_on_uncertainty_h
        )
        cleared = replace(cleared, uncertainty_min=uncertainty)
    return ChannelDecay(
        channel=channel,
        unit=unit,
        smoke_start_h=phases.smoke_start_h,
        peak_h=phases.peak_h,
        unit_on_h=phases.unit_on_h,
        end_h=phases.end_h,
        unit_on_found=phases.unit_on_found,
        interval_s=3600 * readings.interval_h,
        readings=int(time_h.size),
        start_level=start_level,
        peak_level=peak_level,
        end_level=end_level,
        fit=fit,
        time_to_clear=cleared,
        notes=notes,
        start_level_uncertainty=at_start.uncertainty if at_start else None,
        unit_on_uncertainty_h=phases.unit_on_uncertainty_h,
    )


def _noise_at(readings: Readings, phases: Phases, at_h: float) -> LocalNoise | None:
    """Noise of the level at one moment of the run. Readings before unit on follow another curve and are excluded."""
    first, last = np.searchsorted(
        readings.time_h, [phases.unit_on_h - ROUNDING_H, phases.end_h + ROUNDING_H], side="left"
    )
    run = slice(int(first), int(last))
    return local_noise(readings.time_h[run], readings.level[run], phases.smooth[run], at_h, readings.step)


def _nothing(channel: str, unit: str, readings: Readings, marks: Marks, clear_level: ClearLevel) -> ChannelDecay:
    """Result for a channel with at most one reading."""
    found = int(readings.time_h.size)
    only = float(readings.level[0]) if found else math.nan
    at = float(readings.time_h[0]) if found else 0.0
    unit_on_h = marks.unit_on_h if marks.unit_on_h is not None else at
    why = (
        f"{channel} has {found} readings; a decay fit needs at least {FEWEST_READINGS}. Check that the log has "
        "readings in this column."
    )
    clear = clear_level_value(clear_level, only if found else 0.0, only if found else 0.0)
    evidence = (float(found), float(FEWEST_READINGS), "readings")
    note = Note("too_few_readings", "unusable", why, *evidence, advice=Advice("check_run"))
    return ChannelDecay(
        channel=channel,
        unit=unit,
        smoke_start_h=marks.smoke_start_h,
        peak_h=None,
        unit_on_h=unit_on_h,
        end_h=max(at, unit_on_h),
        unit_on_found=marks.unit_on_h is None,
        interval_s=0.0,
        readings=found,
        start_level=only,
        peak_level=only,
        end_level=only,
        fit=no_fit(why, at, at, found),
        time_to_clear=TimeToClear(False, None, 0.0, None, clear),
        notes=(note,),
    )
