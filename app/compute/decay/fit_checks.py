"""Checks of the fit: run too short, sampling too slow, poor fit, several rates, window sensitivity, sensor lag."""

import math

from app.compute.decay.fit import FitOutcome, Readings
from app.compute.decay.phases import Phases
from app.compute.decay.result import DecayFit
from app.compute.decay.systematic import parts_of
from app.compute.decay.window import NOISE_LIMIT
from app.compute.signal.events import RateEvent
from app.compute.wording.notes import Note

# Without a known background the level must fall to this share of the excess at the window's start;
# tests/studies/decay_coverage.py shows the median rate to be more than 1 % off otherwise.
SHORT_FALL_UNKNOWN_BACKGROUND = 0.20
SHORT_FALL_KNOWN_BACKGROUND = 0.80  # with one known, the same study asks for this much
SLOW_SAMPLING = 0.5  # rate times interval: the level falls by 40 % from one reading to the next; common practice
TOO_SLOW_SAMPLING = 1.0  # rate times interval: it falls by 63 %; common practice, no source
NOTHING_EXPLAINED = 0.10  # R² below which the curve explains none of the readings; common practice, no source
POOR_R_SQUARED = 0.80  # acceptance limit for a particle channel in one bedroom study's methods text (read), 2026
UNUSABLE_CHANGE = 0.20  # relative change of the rate from which an average of two rates is meaningless
WIDE_WINDOW_SHARE = 0.10  # of the rate: change over other windows above which a note is given
# Share of the smoke that the unit removes while the level still rises. In tests/studies/intervals/disturbances.py it
# stays below 12 % where a room mixes in minutes.
REMOVED_WHILE_RISING = 0.13
EARLY_MIN = 10.0  # after the window's start: mixing may last so long; common practice, no source
SENSOR_LAG_S = 50.0  # some optical sensors lag by 30 to 50 s (Bulot et al., Sensors 20, 2219, 2020; recomputed)


def fit_notes(readings: Readings, phases: Phases, outcome: FitOutcome, response_time_s: float | None) -> list[Note]:
    """All notes on the fit of one channel."""
    if outcome.fit.decay_rate is None:
        code = "rising_level" if "rises" in outcome.fit.why_not else "no_decay"
        return [Note(code, "unusable", outcome.fit.why_not)]
    found = [
        _run_too_short(outcome),
        _sampling_too_slow(readings, outcome),
        _not_told_from_zero(outcome),
        _poor_fit(outcome),
        _not_one_exponential(phases, outcome),
        _window_moved(phases, outcome),
        _rose_after_unit_on(phases, outcome),
        _window_sensitivity(outcome),
        _sensor_lag(phases, response_time_s),
    ]
    return [note for note in found if note is not None]


def _run_too_short(outcome: FitOutcome) -> Note | None:
    fit = outcome.fit
    assert fit.decay_rate is not None
    length_h = fit.window_end_h - fit.window_start_h
    left = math.exp(-min(max(fit.decay_rate.value, 0.0) * length_h, 50.0))
    known = fit.background_choice != "fitted" or not math.isnan(outcome.before)
    limit = SHORT_FALL_KNOWN_BACKGROUND if known else SHORT_FALL_UNKNOWN_BACKGROUND
    if left <= limit:
        return None
    without = "" if known else "without readings before the smoke "
    message = (
        f"Over the fit window of {60 * length_h:.0f} min the excess over the background falls to {left:.0%} of its "
        f"start; to determine the rate {without}it must fall to {limit:.0%}."
        f"{'' if known else ' A slower decay to a lower background would look the same.'}"
    )
    wide = fit.decay_rate.expanded_uncertainty_95 > max(fit.decay_rate.value, 0.0)
    return Note("run_too_short", "unusable" if wide and not known else "care", message, left, limit)


def _sampling_too_slow(readings: Readings, outcome: FitOutcome) -> Note | None:
    fit = outcome.fit
    assert fit.decay_rate is not None
    fall = fit.decay_rate.value * readings.interval_h
    if fall <= SLOW_SAMPLING:
        return None
    message = (
        f"At {fit.decay_rate.value:.3g} per hour the excess falls by {1 - math.exp(-fall):.0%} between readings "
        f"{3600 * readings.interval_h:.0f} s apart: too fast for the sampling. Readings must be at most "
        f"{3600 * SLOW_SAMPLING / fit.decay_rate.value:.0f} s apart."
    )
    severity = "unusable" if fall > TOO_SLOW_SAMPLING else "care"
    limit_s = 3600 * SLOW_SAMPLING / fit.decay_rate.value
    return Note("sampling_too_slow", severity, message, 3600 * readings.interval_h, limit_s, "s")  # type: ignore[arg-type]


def _not_told_from_zero(outcome: FitOutcome) -> Note | None:
    rate = outcome.fit.decay_rate
    assert rate is not None
    if rate.low_95 > 0:
        return None
    if outcome.at_least_per_h > 0:
        message = (
            f"The interval of the decay rate, {rate.value:.2g} ± {rate.expanded_uncertainty_95:.2g} per hour, "
            "includes zero because it is symmetric; the readings show a rate of at least "
            f"{outcome.at_least_per_h:.2g} per hour, but not how much faster it is."
        )
    else:
        message = (
            f"The decay rate of {rate.value:.2g} ± {rate.uncertainty:.2g} per hour cannot be distinguished from zero; "
            f"it is at most {rate.high_95:.2g} per hour."
        )
    return Note("decay_not_told_from_zero", "care", message, rate.value, rate.expanded_uncertainty_95, "1/h")


def _poor_fit(outcome: FitOutcome) -> Note | None:
    fit = outcome.fit
    if fit.r_squared >= POOR_R_SQUARED:
        return None
    if fit.r_squared < NOTHING_EXPLAINED:
        share = "nothing" if fit.r_squared <= 0 else f"only {fit.r_squared:.0%}"
        message = (
            f"The curve explains {share} of the spread of the readings (R² {fit.r_squared:.2f}); a constant level "
            "would do as well, so its rate is not used."
        )
        return Note("poor_fit", "unusable", message, fit.r_squared, NOTHING_EXPLAINED)
    message = (
        f"The curve explains {fit.r_squared:.0%} of the spread of the readings (R² {fit.r_squared:.2f}); "
        f"{POOR_R_SQUARED:.0%} is usual. The fall is small compared with the noise, or the curve is not exponential."
    )
    return Note("poor_fit", "care", message, fit.r_squared, POOR_R_SQUARED)


def _not_one_exponential(phases: Phases, outcome: FitOutcome) -> Note | None:
    event = outcome.event
    if event is None:
        return None
    at = 60 * (event.at_h - phases.unit_on_h)
    message = f"The curve is not a single exponential: {_event_text(event, at, is_early(event, outcome.fit))}"
    severe = abs(event.change) > UNUSABLE_CHANGE
    severity = "unusable" if severe else "care"
    return Note("not_one_exponential", severity, message, event.change, UNUSABLE_CHANGE, at_min=at)  # type: ignore[arg-type]


def _window_moved(phases: Phases, outcome: FitOutcome) -> Note | None:
    event = outcome.moved_for
    if event is None:
        return None
    at = 60 * (outcome.fit.window_start_h - phases.unit_on_h)
    slower = event.kind == "slow_start"
    cause = "smoke was still entering, or mixing was not finished"
    if not slower:
        cause = "mixing was not finished, or large particles settle first"
    message = (
        f"The start of the curve falls {'more slowly' if slower else 'faster'} than the rest ({cause}), so the fit "
        f"starts at {at:.1f} min after unit on."
    )
    return Note("window_moved", "care", message, event.change, at_min=at)


def _rose_after_unit_on(phases: Phases, outcome: FitOutcome) -> Note | None:
    rate = outcome.fit.decay_rate
    assert rate is not None
    if phases.unit_on_found or phases.source_ended_h > phases.peak_h:
        return None
    rising_h = phases.peak_h - phases.unit_on_h
    removed = -math.expm1(-rate.value * max(rising_h, 0.0))
    if removed <= REMOVED_WHILE_RISING:
        return None
    message = (
        f"The level rose for {60 * rising_h:.1f} min more after unit on, although at {rate.value:.3g} per hour the "
        f"unit removes {removed:.0%} of the smoke in that time: smoke was still spreading or still entering. The fit "
        "starts later, but what spreads slowly is not over there, and may make the rate too low."
    )
    return Note("rose_after_unit_on", "care", message, removed, REMOVED_WHILE_RISING, at_min=60 * rising_h)


def is_early(event: RateEvent, fit: DecayFit) -> bool:
    """Whether a departure ends so soon after the window's start that mixing can explain it."""
    return 60 * (event.at_h - fit.window_start_h) <= EARLY_MIN


def _event_text(event: RateEvent, at_min: float, early: bool) -> str:
    if event.kind == "rate_change":
        faster = "faster" if event.change > 0 else "slower"
        mixing = "mixing was not finished, " if early else ""
        return (
            f"from {at_min:.1f} min after unit on it falls {abs(event.change):.0%} {faster} ({mixing}a change of "
            "speed, an opened door, or a changed background)."
        )
    if event.kind == "jump":
        word = "jumps up" if event.change > 0 else "drops"
        cause = (
            "a second source, or people in the room"
            if event.change > 0
            else ("the logger was moved, or air was let in")
        )
        return f"at {at_min:.1f} min after unit on it {word} by {abs(event.change):.0%} ({cause})."
    if event.kind == "fast_start" or (event.kind == "slow_tail" and early):
        return (
            f"the start falls faster, until about {at_min:.1f} min after unit on (mixing was not finished, or large "
            "particles settle first)."
        )
    if event.kind == "slow_start":
        return (
            f"the start falls more slowly, until about {at_min:.1f} min after unit on (smoke was still entering, or "
            "mixing was not finished)."
        )
    return "it falls more slowly towards the end (a second room that empties slowly, or a changed background)."


def _window_sensitivity(outcome: FitOutcome) -> Note | None:
    fit = outcome.fit
    assert fit.decay_rate is not None
    rate, moved = fit.decay_rate.value, fit.window_sensitivity_per_h
    included = parts_of(fit).window > 0
    if outcome.window_deviation <= NOISE_LIMIT or not (included or moved > WIDE_WINDOW_SHARE * abs(rate)):
        return None
    message = (
        f"Other windows of the same run change the rate by ± {moved:.2g} per hour "
        f"({moved / max(abs(rate), 1e-9):.0%}), more than its noise explains. "
        f"{'This is included in the uncertainty' if included else 'The noise is larger'}; the model does not fit the "
        "curve exactly."
    )
    return Note("window_sensitivity", "care", message, moved, fit.statistical_uncertainty_per_h, "1/h")


def _sensor_lag(phases: Phases, response_time_s: float | None) -> Note | None:
    if not phases.unit_on_found:
        return None
    lag_s = SENSOR_LAG_S if response_time_s is None else response_time_s
    message = (
        f"Unit on was detected from the curve, ± {60 * phases.unit_on_uncertainty_h:.1f} min. Some sensors lag by up "
        f"to {lag_s:.0f} s, so the time to clear may be that much too short; the rate is not affected. Set the unit-on "
        "mark if the switch-on was noted."
    )
    return Note("unit_on_from_data", "fine", message, lag_s, unit="s")
