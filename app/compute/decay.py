"""Decay analysis of one channel of one trial: phases, fit window, rate with its uncertainty, time to clear."""

import math

import numpy as np
from numpy.typing import ArrayLike

from app.compute.blocks import block_means
from app.compute.clearing import clear_level_value, time_to_clear
from app.compute.decay_result import ChannelDecay, ClearLevel, DecayFit, Marks, TimeToClear
from app.compute.exponential_fit import fit_exponential, quick_fit
from app.compute.measured import Measured
from app.compute.noise import Floats, resolution_step
from app.compute.notes import Note
from app.compute.phases import Phases, find_phases
from app.compute.rate_table import BackgroundBounds
from app.compute.window import FEWEST_READINGS, excess_floor, saturated, time_to_floor_h, window_start_h

Curve = tuple[Floats, Floats, Floats]


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
) -> ChannelDecay:
    """Find the phases of a trial in one channel and fit C(t) = Cb + A exp(-k t).

    Parameters
    elapsed_s : time since the log's first reading, ascending [s]
    levels : readings; not-a-number where there is no true reading (missing, or a held value repeated) [unit]
    marks : what a person set; the rest is found
    saturation_level : readings at or above it are left out [unit]
    response_time_s : time constant of the logger [s]
    Raises  ValueError where times and levels differ in number, times go backward, or a mark is not a number
    """
    time_h, level = _readings(elapsed_s, levels)
    if time_h.size < 2:
        return _nothing(channel, unit, time_h, level, marks, clear_level)
    step = resolution_step(level)
    phases = find_phases(time_h, level, marks)
    interval_s = 3600 * float(np.median(np.diff(time_h)))
    start_level = float(np.interp(phases.unit_on_h, time_h, phases.smooth))
    before = level[phases.before_smoke]
    fit = _fit(time_h, level, phases, marks, step, saturation_level, response_time_s, interval_s / 3600, empty_room)
    background = fit.background.value if fit.background is not None else float(np.min(phases.smooth))
    if before.size and clear_level.kind == "background":
        background = float(np.median(before))
    clear = clear_level_value(clear_level, start_level, background)
    notes: list[Note] = []
    if fit.decay_rate is None:
        notes.append(Note("no_decay", "unusable", fit.why_not))
    return ChannelDecay(
        channel=channel,
        unit=unit,
        smoke_start_h=phases.smoke_start_h,
        peak_h=phases.peak_h,
        unit_on_h=phases.unit_on_h,
        end_h=phases.end_h,
        unit_on_found=phases.unit_on_found,
        interval_s=interval_s,
        readings=int(time_h.size),
        start_level=start_level,
        peak_level=float(np.interp(phases.peak_h, time_h, phases.smooth)),
        end_level=float(np.interp(phases.end_h, time_h, phases.smooth)),
        fit=fit,
        time_to_clear=time_to_clear(time_h, phases.smooth, clear, phases.unit_on_h, phases.end_h, fit),
        notes=tuple(notes),
    )


def decay_curve(decay: ChannelDecay, minutes: ArrayLike) -> Curve:
    """Fitted level and its 95 % band at minutes from unit on. [unit of the channel]

    Not-a-number everywhere where there is no fit. The band is that of the curve, not of single readings.
    """
    time_h = np.asarray(minutes, dtype=float) / 60
    fit = decay.fit
    if fit is None or fit.decay_rate is None or fit.background is None or fit.amplitude is None:
        nothing = np.full(time_h.shape, np.nan)
        return nothing, nothing.copy(), nothing.copy()
    rate, amplitude = fit.decay_rate.value, fit.amplitude.value
    decayed = np.exp(-rate * time_h)
    level = fit.background.value + amplitude * decayed
    gradient = np.stack([np.ones_like(time_h), decayed, -amplitude * time_h * decayed], axis=-1)
    variance = np.einsum("...i,ij,...j->...", gradient, np.array(fit.covariance), gradient)
    half = fit.decay_rate.expanded_uncertainty_95 / max(fit.decay_rate.uncertainty, 1e-300)
    spread = half * np.sqrt(np.maximum(variance, 0.0))
    return level, level - spread, level + spread


def _readings(elapsed_s: ArrayLike, levels: ArrayLike) -> tuple[Floats, Floats]:
    time = np.asarray(elapsed_s, dtype=float).ravel()
    level = np.asarray(levels, dtype=float).ravel()
    if time.size != level.size:
        raise ValueError(f"There are {time.size} times and {level.size} levels; each reading needs one of both.")
    held = np.isfinite(level) & np.isfinite(time)
    time, level = time[held], level[held]
    if time.size > 1 and bool(np.any(np.diff(time) < 0)):
        place = int(np.argmax(np.diff(time) < 0))
        raise ValueError(
            f"The time goes back from {time[place]:g} s to {time[place + 1]:g} s; times need to ascend. "
            "Sort the readings first."
        )
    return time / 3600, level


def _fit(
    time_h: Floats, level: Floats, phases: Phases, marks: Marks, step: float, saturation_level: float | None,
    response_time_s: float | None, interval_h: float, empty_room: bool,
) -> DecayFit:  # fmt: skip
    start_h = window_start_h(phases.unit_on_h, phases.peak_h, response_time_s)
    start_h = start_h if marks.fit_start_h is None else marks.fit_start_h
    last_h = phases.end_h if marks.fit_end_h is None else min(marks.fit_end_h, phases.end_h)
    usable = (time_h >= start_h) & (time_h <= last_h) & ~saturated(level, saturation_level)
    end_h = last_h
    before = level[phases.before_smoke]
    places = np.flatnonzero(usable)
    for turn in range(3):
        if places.size < FEWEST_READINGS:
            return _no_fit(start_h, last_h, int(places.size), f"The fit needs {FEWEST_READINGS} readings between the "
                           f"end of mixing and the floor and found {places.size}.")  # fmt: skip
        bounds, choice = _bounds(level[places], before, marks, step, empty_room)
        blocks = block_means(time_h[places], level[places], interval_h, step)
        quick = quick_fit(blocks, bounds)
        floor = excess_floor(step, quick.amplitude)
        reach = float(time_h[places[0]]) + time_to_floor_h(quick.amplitude, quick.rate, floor)
        if turn == 2 or marks.fit_end_h is not None or reach >= end_h:
            break
        end_h = max(reach, float(time_h[places[min(9, places.size - 1)]]))
        places = np.flatnonzero(usable & (time_h <= end_h))
    quick = quick_fit(blocks, bounds, quick.level(blocks.time_h - blocks.time_h[0]))
    fitted = fit_exponential(blocks, bounds, quick)
    if fitted.amplitude <= 0 or fitted.rate <= 0:
        return _no_fit(start_h, end_h, int(places.size), "The level rises or stands still between the marks; a decay "
                       "rate needs a falling level. Check the marks.")  # fmt: skip
    lead = float(time_h[places[0]]) - phases.unit_on_h
    if marks.fit_start_h is None:
        start_h = float(time_h[places[0]])
    turn = np.eye(3)
    grow = math.exp(min(fitted.rate * lead, 50.0))
    turn[1, 1], turn[1, 2] = grow, grow * fitted.amplitude * lead
    covariance = turn @ fitted.covariance @ turn.T
    x, y = time_h[places], level[places]
    curve = fitted.background + fitted.amplitude * np.exp(-fitted.rate * (x - x[0]))
    total = float(np.sum((y - y.mean()) ** 2))
    dof = fitted.degrees_of_freedom
    return DecayFit(
        fit_converged=True,
        why_not="",
        decay_rate=Measured(fitted.rate, fitted.uncertainty, dof),
        statistical_uncertainty_per_h=fitted.uncertainty,
        window_sensitivity_per_h=0.0,
        background=Measured(fitted.background, math.sqrt(max(covariance[0, 0], 0.0)), dof),
        amplitude=Measured(fitted.amplitude * grow, math.sqrt(max(covariance[1, 1], 0.0)), dof),
        covariance=tuple(tuple(float(v) for v in row) for row in covariance),  # type: ignore[misc]
        background_choice=choice,
        window_start_h=start_h,
        window_end_h=min(end_h, float(time_h[places[-1]])),
        readings_fitted=int(places.size),
        r_squared=1 - float(np.sum((y - curve) ** 2)) / total if total > 0 else 0.0,
        residual_spread=fitted.spread,
        lag_one_autocorrelation=fitted.autocorrelation,
    )


def _bounds(
    fitted: Floats, before: Floats, marks: Marks, step: float, empty_room: bool = False
) -> tuple[BackgroundBounds, str]:
    lowest = float(np.percentile(fitted, 5))
    low = min(0.0, float(fitted.min()))
    high = max(lowest, low + max(step, 1e-6))
    rounding = max(step / math.sqrt(12), 1e-6 * max(high, 1.0))
    if marks.background_level is not None:
        given = marks.background_level
        return BackgroundBounds(min(low, given), max(high, given), given, rounding), "given"
    if before.size >= 3:
        given = float(np.mean(before))
        drop = 0.1 if empty_room else 0.4
        unc = math.sqrt(rounding**2 + (drop * given) ** 2 + float(np.var(before)) / min(before.size, 4))
        return BackgroundBounds(low, max(high, given), given, unc), "before the smoke"
    return BackgroundBounds(low, high), "fitted"


def _no_fit(start_h: float, end_h: float, readings: int, why: str) -> DecayFit:
    zeros = ((0.0, 0.0, 0.0),) * 3
    return DecayFit(False, why, None, 0.0, 0.0, None, None, zeros, "fitted", start_h, end_h, readings, 0.0, 0.0, 0.0)  # type: ignore[arg-type]


def _nothing(
    channel: str, unit: str, time_h: Floats, level: Floats, marks: Marks, clear_level: ClearLevel
) -> ChannelDecay:
    """The result where there is at most one reading."""
    only = float(level[0]) if level.size else math.nan
    at = float(time_h[0]) if time_h.size else 0.0
    clear = clear_level_value(clear_level, only if level.size else 0.0, 0.0)
    why = f"{time_h.size} readings of {channel} were found; a decay needs at least {FEWEST_READINGS}. Check the log."
    return ChannelDecay(
        channel, unit, None, None, marks.unit_on_h if marks.unit_on_h is not None else at, at,
        marks.unit_on_h is None, 0.0, int(time_h.size), only, only, only, _no_fit(at, at, int(time_h.size), why),
        TimeToClear(False, None, 0.0, None, clear), (Note("too_few_readings", "unusable", why, float(time_h.size),
        float(FEWEST_READINGS), "readings"),),
    )  # fmt: skip
