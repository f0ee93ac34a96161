"""Decay rate from the readings of one trial: window, fit, alternative windows, departures from one exponential."""

import math
from dataclasses import dataclass, replace

import numpy as np

from app.compute.decay.phases import ROUNDING_H, Phases
from app.compute.decay.result import DecayFit, Marks
from app.compute.decay.systematic import drift_uncertainty, information, rows_of, warm_up_uncertainty, with_budget
from app.compute.decay.window import (
    DOUBTFUL_LIMIT,
    FEWEST_READINGS,
    KEPT_READINGS,
    TAIL_SHARE,
    excess_floor,
    far_above,
    time_to_floor_h,
    window_sensitivity,
    window_start_h,
)
from app.compute.signal.background import BeforeSmoke, background_bounds, before_smoke, noise_at_lowest
from app.compute.signal.blocks import Blocks, block_means
from app.compute.signal.clipping import lowest_level
from app.compute.signal.events import RateEvent, find_event
from app.compute.signal.exponential_fit import ExponentialFit, QuickFit, fit_exponential, quick_fit
from app.compute.signal.logger_noise import GENERIC, LoggerNoise
from app.compute.signal.logger_timing import NOT_KNOWN, LoggerTiming
from app.compute.signal.noise import Floats, median
from app.compute.signal.noise_evidence import noise_evidence
from app.compute.signal.rate_table import BackgroundBounds
from app.compute.statistics.measured import Measured
from app.compute.wording.numbers import level_text

# A start moved past an early part must leave enough of the decay to find its rate; both: common practice, no source.
FEWEST_LEFT = 30  # readings
LEAST_LEFT = 0.05  # of the excess at the first start
# What fades is not over at the place found: shares of its distance from the window's start by which to go on.
LATER = (1.5, 1.0, 0.5, 0.0)


@dataclass(frozen=True, slots=True)
class Readings:
    """Readings of one channel [h on the log's clock], their sampling interval and display step; `unit` of levels."""

    time_h: Floats
    level: Floats
    interval_h: float
    step: float
    unit: str


@dataclass(frozen=True, slots=True)
class FitTerms:
    """Settings of the fit besides the readings. `ceiling`: readings at or above it are saturated. `evidence`: whether
    the fit is to say how likely each kind of noise is."""

    marks: Marks
    ceiling: float | None
    response_time_s: float | None
    empty_room: bool
    of_logger: LoggerNoise = GENERIC
    evidence: bool = False
    timing: LoggerTiming = NOT_KNOWN


@dataclass(frozen=True, slots=True)
class FitOutcome:
    """The fit, and the numbers that the checks need.

    places : the fitted readings, which follow one another
    event : departure from one exponential, at_h on the log's clock
    at_least_per_h : 2.5 % point of the posterior of the rate, not-a-number without a rate
    window_deviation : largest move of the rate over other windows, in standard deviations of noise
    excess_at_start : fitted level over the background at the window's start
    before : level before the smoke, not-a-number where there is none
    saturated : number of readings after unit on at or above the ceiling
    moved_for : the event at the start for which the window was moved
    evidence : log likelihood of each kind of noise, where asked for and the curve is one exponential
    """

    fit: DecayFit
    places: slice
    event: RateEvent | None
    window_deviation: float
    excess_at_start: float
    before: float
    saturated: int
    at_least_per_h: float = math.nan
    moved_for: RateEvent | None = None
    evidence: tuple[float, ...] = ()


def fit_decay(readings: Readings, phases: Phases, terms: FitTerms) -> FitOutcome:
    """Fit of the decay after unit on; `fit.decay_rate` is None with a sentence in `why_not` where there is none."""
    marks = terms.marks
    start_h, saturated = _start(readings, phases, terms)
    end_h = phases.end_h if marks.fit_end_h is None else min(marks.fit_end_h, phases.end_h)
    before = before_smoke(readings.level[phases.before_smoke])
    before_level = before.level if before is not None else math.nan
    first = int(readings.time_h.searchsorted(start_h - ROUNDING_H))
    usable = slice(first, max(int(readings.time_h.searchsorted(end_h + ROUNDING_H, side="right")), first))
    why = _why_no_window(readings, phases, usable, start_h, end_h)
    if why := why or far_above(marks.background_level, readings.level[usable], readings.unit):
        fit = no_fit(why, start_h, end_h, usable.stop - first)
        return FitOutcome(fit, usable, None, 0.0, 0.0, before_level, saturated)
    places, blocks, bounds, quick = _window(readings, terms, usable, before, end_h)
    fitted = fit_exponential(blocks, bounds, quick, terms.of_logger)
    time = blocks.time_h - blocks.time_h[0]
    moved = window_sensitivity(time, blocks.level, fitted, bounds)
    deviation = moved[1]
    event = find_event(blocks, fitted, bounds)
    evidence = noise_evidence(blocks, bounds, fitted, event, terms.of_logger) if terms.evidence else ()
    start_h = max(start_h, float(readings.time_h[places.start])) if marks.fit_start_h is None else start_h
    if fitted.amplitude <= 0 or fitted.rate + 2 * fitted.uncertainty < 0:
        why = why_no_decay(blocks, readings.unit, start_h - phases.unit_on_h, end_h - phases.unit_on_h)
        fit = no_fit(why, start_h, end_h, places.stop - places.start)
        return FitOutcome(fit, places, event, deviation, fitted.amplitude, before_level, saturated)
    choice = "given" if marks.background_level is not None else _choice(fitted, bounds)
    # the fit starts at the middle of its first block, later than the first reading of the window
    origin_h = float(blocks.time_h[0])
    fit = _decay_fit(readings, (phases.unit_on_h, origin_h), places, fitted, choice, start_h, moved)
    since_on_h = origin_h - float(readings.time_h[0]) + (terms.timing.on_before_min or 0.0) / 60
    known = information(time, fitted, bounds)
    warm_up = warm_up_uncertainty(time, fitted, known, since_on_h)
    fit = with_budget(fit, drift_uncertainty(fitted, known), warm_up)
    return FitOutcome(
        fit, places, event, deviation, fitted.amplitude, before_level, saturated, fitted.at_least, evidence=evidence
    )


def fit_past_the_start(readings: Readings, phases: Phases, terms: FitTerms) -> FitOutcome:
    """The fit; where its start falls slower or faster than the rest, the fit from the end of that part on.

    The start is moved only without a mark of a person, and only where the rest is one exponential.
    """
    outcome = fit_decay(readings, phases, terms)
    event, rate = outcome.event, outcome.fit.decay_rate
    if event is None or rate is None or event.kind not in ("slow_start", "fast_start"):
        return outcome
    if terms.marks.fit_start_h is not None:
        return outcome
    first_h = outcome.fit.window_start_h
    for later in LATER:
        start_h = event.at_h + later * (event.at_h - first_h)
        left = int((readings.time_h[outcome.places] >= start_h).sum())
        if left < FEWEST_LEFT or math.exp(-rate.value * (start_h - first_h)) < LEAST_LEFT:
            continue
        marks = replace(terms.marks, fit_start_h=start_h)
        moved = fit_decay(readings, phases, replace(terms, marks=marks, evidence=False))
        if moved.fit.decay_rate is not None and moved.event is None:
            return replace(moved, moved_for=event)
    return outcome


def why_no_decay(blocks: Blocks, unit: str, start_h: float, end_h: float) -> str:
    """A sentence on what the level does instead of decaying; start and end from unit on [h]."""
    tenth = max(blocks.level.size // 10, 1)
    first, last = median(blocks.level[:tenth]), median(blocks.level[-tenth:])
    between = f"between {60 * start_h:.0f} and {60 * end_h:.0f} min from unit on"
    from_to = f"from {level_text(first, unit)} to {level_text(last, unit)}"
    said = f"The level rises {from_to} {between}"
    if last <= first:
        said = f"The level goes {from_to} {between} without approaching a background"
    return f"{said}; a decay rate needs a falling level. Check the marks and for other particle sources."


def no_fit(why: str, start_h: float, end_h: float, readings: int) -> DecayFit:
    """A failed fit, with the reason."""
    return DecayFit(
        fit_converged=False,
        why_not=why,
        decay_rate=None,
        statistical_uncertainty_per_h=0.0,
        window_sensitivity_per_h=0.0,
        background=None,
        amplitude=None,
        covariance=((0.0, 0.0, 0.0),) * 3,
        background_choice="fitted",
        window_start_h=start_h,
        window_end_h=end_h,
        readings_fitted=readings,
        r_squared=0.0,
        residual_spread=0.0,
        lag_one_autocorrelation=0.0,
    )


def _start(readings: Readings, phases: Phases, terms: FitTerms) -> tuple[float, int]:
    """Start of the window [h], after the last saturated reading, and the number of saturated readings after unit on."""
    start_h = window_start_h(phases.unit_on_h, phases.source_ended_h, terms.response_time_s)
    if terms.marks.fit_start_h is not None:
        start_h = terms.marks.fit_start_h
    if terms.ceiling is None:
        return start_h, 0
    high = np.flatnonzero((readings.level >= terms.ceiling) & (readings.time_h <= phases.end_h))
    if high.size == 0:
        return start_h, 0
    # readings just under the ceiling, between saturated ones, are the low half of the noise
    after = float(readings.time_h[high[-1]]) + 2 * ROUNDING_H
    return max(start_h, after), int(np.sum(readings.time_h[high] >= phases.unit_on_h))


def _why_no_window(readings: Readings, phases: Phases, usable: slice, start_h: float, end_h: float) -> str:
    if phases.rising:
        return (
            "The level rises throughout the log; a decay needs a falling level. Check the columns, or mark unit on "
            "and the end of the run."
        )
    found = usable.stop - usable.start
    if found < FEWEST_READINGS or readings.time_h[usable.start] == readings.time_h[usable.stop - 1]:
        between = f"between {60 * (start_h - phases.unit_on_h):.1f} and {60 * (end_h - phases.unit_on_h):.1f} min"
        return (
            f"The fit needs {FEWEST_READINGS} readings at different times and found {found} {between} from unit on. "
            "Move the marks apart, or log at a shorter interval."
        )
    level = readings.level[usable]
    if float(level.max()) == float(level.min()):
        return (
            f"All {found} readings after unit on are {level_text(float(level[0]), readings.unit)}; a decay needs a "
            "falling level. Check the logger and the marks."
        )
    return ""


def _window(
    readings: Readings, terms: FitTerms, usable: slice, before: BeforeSmoke | None, end_h: float
) -> tuple[slice, Blocks, BackgroundBounds, QuickFit]:
    """Readings above the floor: fit, cut, and fit again."""
    places, quick = usable, None
    known = terms.marks.background_level, terms.empty_room
    for turn in range(3):
        level = readings.level[places]
        blocks = block_means(readings.time_h[places], level, readings.interval_h, readings.step)
        bounds = background_bounds(blocks, before, *known, readings.step)
        quick = quick_fit(blocks, bounds, quick)
        floor = excess_floor(readings.step, quick.amplitude)
        to_floor_h = time_to_floor_h(quick.amplitude, quick.rate, floor)
        reach_h = float(readings.time_h[usable.start]) + (1 + TAIL_SHARE) * to_floor_h
        if turn == 2 or terms.marks.fit_end_h is not None or reach_h >= end_h:
            break
        kept_h = float(readings.time_h[min(usable.start + KEPT_READINGS, usable.stop) - 1])
        end_h = max(reach_h, kept_h)
        places = slice(usable.start, usable.start + int(readings.time_h[usable].searchsorted(end_h, side="right")))
    quick = quick_fit(blocks, bounds, quick)
    lowest = lowest_level(readings.level[places], readings.step)
    curve = quick.level(readings.time_h[places] - float(blocks.time_h[0]))
    clear = max(int((curve >= lowest).sum()), KEPT_READINGS)
    if clear < places.stop - places.start:
        places = slice(places.start, places.start + clear)
        blocks = block_means(readings.time_h[places], readings.level[places], readings.interval_h, readings.step)
        quick = quick_fit(blocks, bounds, quick)
    bounds = background_bounds(blocks, before, *known, readings.step, noise_at_lowest(blocks, quick), quick.rate)
    return places, blocks, bounds, quick_fit(blocks, bounds, quick)


def _decay_fit(
    readings: Readings, unit_on_and_origin_h: tuple[float, float], places: slice, fitted: ExponentialFit, choice: str,
    start_h: float, moved: tuple[float, float],
) -> DecayFit:  # fmt: skip
    unit_on_h, origin_h = unit_on_and_origin_h
    half_range, deviation = moved
    time, level = readings.time_h[places], readings.level[places]
    uncertainty = fitted.uncertainty
    if deviation > DOUBTFUL_LIMIT and half_range > uncertainty:
        uncertainty = math.hypot(uncertainty, half_range)
    lead = origin_h - unit_on_h
    grow = math.exp(min(max(fitted.rate * lead, -50.0), 50.0))
    turn = np.eye(3)
    turn[1, 1], turn[1, 2] = grow, grow * fitted.amplitude * lead
    turn[2, 2] = uncertainty / fitted.uncertainty if fitted.uncertainty > 0 else 1.0
    covariance = turn @ fitted.covariance @ turn.T
    curve = fitted.background + fitted.amplitude * np.exp(-fitted.rate * (time - origin_h))
    total = float(np.sum((level - level.mean()) ** 2))
    dof = fitted.degrees_of_freedom
    return DecayFit(
        fit_converged=True,
        why_not="",
        decay_rate=Measured(fitted.rate, uncertainty, dof),
        statistical_uncertainty_per_h=fitted.uncertainty,
        window_sensitivity_per_h=half_range,
        background=Measured(fitted.background, math.sqrt(max(float(covariance[0, 0]), 0.0)), dof),
        amplitude=Measured(fitted.amplitude * grow, math.sqrt(max(float(covariance[1, 1]), 0.0)), dof),
        covariance=rows_of(covariance),
        background_choice=choice,
        window_start_h=start_h,
        window_end_h=float(time[-1]),
        readings_fitted=places.stop - places.start,
        r_squared=1 - float(np.sum((level - curve) ** 2)) / total if total > 0 else 0.0,
        residual_spread=fitted.spread,
        lag_one_autocorrelation=fitted.autocorrelation,
    )


def _choice(fitted: ExponentialFit, bounds: BackgroundBounds) -> str:
    """Source of the background: whichever constrains it more, the readings before the smoke or the decay."""
    if bounds.given is None:
        return "fitted"
    return "before the smoke" if fitted.covariance[0, 0] > 0.5 * bounds.given_uncertainty**2 else "fitted"
