"""Checks of the readings: number, times, gaps, saturation, background, start level."""

import numpy as np

from app.compute.decay.fit import FitOutcome, Readings
from app.compute.decay.phases import Phases
from app.compute.decay.unit_on import LARGEST_UNCERTAINTY_H
from app.compute.decay.window import FEWEST_READINGS
from app.compute.signal.noise import median
from app.compute.wording.notes import Note
from app.compute.wording.numbers import level_text

# In tests/studies/decay_coverage.py intervals from fewer readings have too low a coverage where the noise drifts over
# several readings, because so few readings cannot show the drift: at one reading in 120 s and an autocorrelation of
# 0.95, coverage is 88.8 % with a limit of 25 and above 90 % with 30.
FEW_READINGS = 30
GAP_INTERVALS = 5.0  # sampling intervals; common practice, no source
GAP_SHARE = 0.05  # of the window; common practice, no source
LOW_START_STEPS = 20.0  # display steps of excess at the window's start; common practice, no source
UNUSABLE_START_STEPS = 5.0  # display steps; below it rounding alone determines the rate; common practice, no source
LOW_START_SHARE = 1.0  # of the background; common practice, no source
UNSTABLE_SHARE = 0.3  # of the level before the smoke; common practice, no source
UNSTABLE_STEPS = 3.0  # display steps; common practice, no source
EARLY_RISE_SHARE = 0.5  # of the peak: an earlier rise makes the run unusable; common practice, no source
UNSTABLE_EXCESS_SHARE = 0.02  # of the excess at the window's start: a smaller change does not matter


def reading_notes(readings: Readings, phases: Phases, outcome: FitOutcome) -> list[Note]:
    """All notes on the readings of one channel."""
    found = [
        _few_readings(readings, outcome),
        _low_start_level(readings, phases, outcome),
        _saturation(readings, phases, outcome),
        _gap(readings, phases, outcome),
        _repeated_times(readings, phases),
        _clock_jump(readings, phases, outcome),
        _unstable_background(readings, phases, outcome),
        _rises_again(readings, phases),
        _weak_unit(phases),
    ]
    return [note for note in found if note is not None]


def _few_readings(readings: Readings, outcome: FitOutcome) -> Note | None:
    found = outcome.fit.readings_fitted
    if outcome.fit.decay_rate is None:
        if found >= FEWEST_READINGS:
            return None
        message = f"The fit window has {found} readings; the fit needs {FEWEST_READINGS}."
        return Note("too_few_readings", "unusable", message, float(found), float(FEWEST_READINGS), "readings")
    if found >= FEW_READINGS:
        return None
    message = (
        f"The rate is based on {found} readings. With fewer than {FEW_READINGS}, drift of the noise cannot be "
        "detected, so the interval may be too narrow."
    )
    return Note("too_few_readings", "care", message, float(found), float(FEW_READINGS), "readings")


def _low_start_level(readings: Readings, phases: Phases, outcome: FitOutcome) -> Note | None:
    fit = outcome.fit
    if fit.decay_rate is None or fit.background is None:
        return None
    excess, background = outcome.excess_at_start, fit.background.value
    at = 60 * (fit.window_start_h - phases.unit_on_h)
    if readings.step > 0 and excess < LOW_START_STEPS * readings.step:
        severity = "unusable" if excess < UNUSABLE_START_STEPS * readings.step else "care"
        message = (
            f"At the start of the window the level is {level_text(excess, readings.unit)} above the background, "
            f"{excess / readings.step:.0f} display steps; {LOW_START_STEPS:.0f} are needed so that rounding does not "
            "affect the rate."
        )
        limit = LOW_START_STEPS * readings.step
        return Note("low_start_level", severity, message, excess, limit, at_min=at)  # type: ignore[arg-type]
    if excess < LOW_START_SHARE * background:
        message = (
            f"At the start of the window the level is {level_text(excess, readings.unit)} above a background of "
            f"{level_text(background, readings.unit)}; the excess should be larger than the background itself."
        )
        return Note("low_start_level", "care", message, excess, LOW_START_SHARE * background, at_min=at)
    return None


def _saturation(readings: Readings, phases: Phases, outcome: FitOutcome) -> Note | None:
    if outcome.saturated == 0:
        return None
    highest = float(readings.level.max())
    until = 60 * (outcome.fit.window_start_h - phases.unit_on_h)
    message = (
        f"{outcome.saturated} readings after unit on are at the detector's limit "
        f"({level_text(highest, readings.unit)}); they are excluded and the window starts after the last of them, "
        f"{until:.1f} min from unit on. The true start level is higher than shown."
    )
    return Note("saturation", "care", message, float(outcome.saturated), 0.0, "readings", max(until, 0.0))


def _gap(readings: Readings, phases: Phases, outcome: FitOutcome) -> Note | None:
    if outcome.fit.readings_fitted < 2 or readings.interval_h <= 0:
        return None
    time = readings.time_h[outcome.places]
    steps = np.diff(time)
    longest = int(np.argmax(steps))
    gap_h, limit_h = (
        float(steps[longest]),
        max(GAP_INTERVALS * readings.interval_h, GAP_SHARE * float(time[-1] - time[0])),
    )
    if gap_h <= limit_h:
        return None
    at = 60 * (float(time[longest]) - phases.unit_on_h)
    message = (
        f"There is no reading for {60 * gap_h:.1f} min within the fit window, from {at:.1f} min after unit on; gaps "
        f"of up to {60 * limit_h:.1f} min are acceptable. The fit bridges it with the curve on both sides."
    )
    return Note("gap_in_window", "care", message, 60 * gap_h, 60 * limit_h, "min", at)


def _repeated_times(readings: Readings, phases: Phases) -> Note | None:
    repeated = np.flatnonzero(np.diff(readings.time_h) == 0)
    if repeated.size == 0:
        return None
    at = 60 * (float(readings.time_h[repeated[0]]) - phases.unit_on_h)
    message = (
        f"{repeated.size} readings have the same time as the previous reading, first {at:.1f} min from unit on; each "
        "counts as a reading."
    )
    return Note("repeated_times", "care", message, float(repeated.size), 0.0, "readings", at)


def _clock_jump(readings: Readings, phases: Phases, outcome: FitOutcome) -> Note | None:
    """A step in time over which the level did not fall although it should have at the fitted rate."""
    fit = outcome.fit
    if fit.decay_rate is None or fit.background is None or outcome.fit.readings_fitted < 8 or readings.interval_h <= 0:
        return None
    time, level = readings.time_h[outcome.places], readings.level[outcome.places]
    steps = np.diff(time)
    longest = int(np.argmax(steps))
    if steps[longest] < 10 * readings.interval_h or longest < 3 or longest > time.size - 5:
        return None
    before = median(level[max(longest - 2, 0) : longest + 1]) - fit.background.value
    after = median(level[longest + 1 : longest + 4]) - fit.background.value
    local = np.polyfit(time[: longest + 1], np.log(np.maximum(level[: longest + 1] - fit.background.value, 1e-9)), 1)
    expected = max(-float(local[0]), 0.0) * float(steps[longest])
    if expected < 0.3 or before <= 0 or after <= 0 or np.log(before / after) > 0.3 * expected:
        return None
    at = 60 * (float(time[longest]) - phases.unit_on_h)
    message = (
        f"The clock jumps by {60 * steps[longest]:.1f} min at {at:.1f} min from unit on, but the level continues as "
        "if no time had passed; the logger's clock seems to have been changed."
    )
    return Note("clock_jump", "unusable", message, 60 * float(steps[longest]), 600 * readings.interval_h, "min", at)


def _unstable_background(readings: Readings, phases: Phases, outcome: FitOutcome) -> Note | None:
    before = readings.level[phases.before_smoke]
    if before.size < 6:
        return None
    third = before.size // 3
    change = median(before[-third:]) - median(before[:third])
    level = median(before)
    limit = max(
        UNSTABLE_SHARE * abs(level), UNSTABLE_STEPS * readings.step, UNSTABLE_EXCESS_SHARE * outcome.excess_at_start
    )
    if abs(change) <= limit:
        return None
    message = (
        f"The background {'rose' if change > 0 else 'fell'} by {level_text(abs(change), readings.unit)} (from one "
        f"third of the readings before the smoke to the last) around a level of {level_text(level, readings.unit)}; "
        f"the limit is {level_text(limit, readings.unit)}. The level before the smoke says little about the "
        "background during the run."
    )
    at = 60 * (float(readings.time_h[0]) - phases.unit_on_h)
    return Note("unstable_background", "care", message, change, limit, at_min=at)


def _rises_again(readings: Readings, phases: Phases) -> Note | None:
    if phases.rises_again_h is None:
        return None
    at = 60 * (phases.rises_again_h - phases.unit_on_h)
    peak, lowest = np.interp([phases.peak_h, phases.rises_again_h], readings.time_h, phases.smooth)
    left = float(lowest / peak) if peak > 0 else 1.0
    early = left > EARLY_RISE_SHARE
    message = (
        f"The level rises again from {at:.1f} min after unit on, when {left:.0%} of the peak was left: a second "
        "source, a door, or the unit switched off. The run is assumed to end "
        f"there{', too early for a reliable rate' if early else ''}."
    )
    return Note("rises_again", "unusable" if early else "care", message, left, EARLY_RISE_SHARE, at_min=at)


def _weak_unit(phases: Phases) -> Note | None:
    if phases.unit_on_separable:
        return None
    uncertainty_min = 60 * phases.unit_on_uncertainty_h
    message = (
        f"Unit on could be found to within ± {uncertainty_min:.1f} min only: the slope changes too little to separate "
        "the decay with the unit from the natural decay (a weak unit, or one that was never switched on). The time to "
        "clear counts from the peak, and the rate may include natural decay."
    )
    return Note("unit_on_not_separable", "care", message, uncertainty_min, 60 * LARGEST_UNCERTAINTY_H, "min")
