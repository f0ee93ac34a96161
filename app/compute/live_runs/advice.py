"""Phase of a live run, and advice in plain words: each sentence is made from the numbers it states."""

import math
from dataclasses import dataclass
from typing import Literal

from app.compute.decay.result import ChannelDecay
from app.compute.decay.trial_quality import HUMIDITY_CHANGE_PCT
from app.compute.live_runs.precision import STOP_AT, Precision
from app.compute.statistics.measured import Measured
from app.compute.wording.numbers import level_text, measured_text

Phase = Literal["waiting", "background", "smoke", "mixed", "decay", "over"]
PHASE_WORDS: dict[Phase, str] = {
    "waiting": "Waiting for readings",
    "background": "Background, before the smoke",
    "smoke": "Smoke rises and mixes",
    "mixed": "Mixed, unit still off",
    "decay": "Decay",
    "over": "Run over",
}
# All of these: common practice, no source.
SILENT_INTERVALS = 3.0  # sampling intervals without a reading
SILENT_AT_LEAST_S = 15.0
START_OVER_REFERENCE = 10.0  # start level over the clear level, or over the background where none is absolute
FORESEEN_AT = 0.30  # half-width of the rate over the rate from which a time to clear is stated
FALLING_MIN = 5.0  # minutes after the peak from which a decay without the mark of unit on is mentioned


@dataclass(frozen=True, slots=True)
class Advice:
    """One piece of advice; `code` is its stable name for scripts."""

    code: str
    message: str


@dataclass(frozen=True, slots=True)
class Tapped:
    """Phase events of the run that were not undone."""

    smoke_lit: bool = False
    fan_off: bool = False
    unit_on: bool = False
    unit_off: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class LiveFacts:
    """What is known of a run at one moment.

    level : newest level of the channel shown, None without readings; reference_level : clear level or background
    silent_s : seconds since the newest reading arrived; interval_s : usual time between readings
    decay : analysis of the readings so far; precision : of its rate
    humidity_pct : at the start of the decay and now, None where it is not logged
    """

    phase: Phase
    empty_room: bool
    unit: str
    level: float | None
    reference_level: float
    silent_s: float
    interval_s: float
    decay: ChannelDecay | None
    precision: Precision | None
    humidity_pct: tuple[float, float] | None


def phase_of(tapped: Tapped, *, empty_room: bool, readings: int) -> Phase:
    """Phase by the events; in an empty room the decay begins when the mixing fan is off.

    >>> phase_of(Tapped(smoke_lit=True, unit_on=True), empty_room=False, readings=5)
    'decay'
    """
    if tapped.unit_off:
        return "over"
    if tapped.unit_on or (empty_room and tapped.fan_off):
        return "decay"
    if tapped.fan_off:
        return "mixed"
    if tapped.smoke_lit:
        return "smoke"
    return "background" if readings else "waiting"


def advice_on(facts: LiveFacts) -> tuple[Advice, ...]:
    """Advice in order of urgency."""
    if facts.level is None:
        message = "No readings yet. Start the logger, and the command or script that sends its readings."
        return (Advice("no_readings", message),)
    rate = (*_rate(facts), _humidity(facts), *_notes(facts))
    found = [_silent(facts), _start_level(facts), *rate, _unmarked(facts), _over(facts)]
    return tuple(each for each in found if each is not None)


def summary_of(
    facts: LiveFacts, on_min: float | None, clears_in_min: Measured | None, *, is_clear: bool = False
) -> str:
    """One sentence on the run: phase, level, rate with its interval, and time to clear.

    on_min : minutes since the decay began
    clears_in_min : minutes until the clear level is expected; not stated while the rate is known too badly
    is_clear : the clear level was reached
    """
    if facts.level is None:
        return f"{PHASE_WORDS[facts.phase]}."
    length = f" for {on_min:.0f} min" if facts.phase == "decay" and on_min is not None else ""
    parts = [f"{PHASE_WORDS[facts.phase]}{length}: {level_text(facts.level, facts.unit)}"]
    decay = facts.decay
    if facts.phase in ("decay", "over") and decay is not None and decay.fit is not None:
        rate = decay.fit.decay_rate
        if rate is not None and facts.precision is not None:
            text = measured_text(rate.value, rate.uncertainty, rate.low_95, rate.high_95)
            parts.append(f"decay rate {text.with_interval} per hour")
        clear = level_text(decay.time_to_clear.clear_level, facts.unit)
        if is_clear:
            parts.append(f"clear level of {clear} reached")
        elif clears_in_min is not None and facts.phase == "decay" and _is_foreseen(facts.precision, clears_in_min):
            low, high = max(clears_in_min.low_95, 0.0), clears_in_min.high_95
            parts.append(f"clear level of {clear} in about {clears_in_min.value:.0f} min ({low:.0f} to {high:.0f})")
    return f"{'; '.join(parts)}."


def _is_foreseen(precision: Precision | None, clears_in_min: Measured) -> bool:
    return precision is not None and precision.now <= FORESEEN_AT and clears_in_min.value > 0


def _silent(facts: LiveFacts) -> Advice | None:
    if facts.silent_s <= max(SILENT_INTERVALS * facts.interval_s, SILENT_AT_LEAST_S) or facts.phase == "over":
        return None
    every = f"; it usually sends one every {facts.interval_s:.0f} s" if facts.interval_s >= 1 else ""
    message = f"Logger silent for {_span(facts.silent_s)}{every}. Check its power, its cable and the network."
    return Advice("logger_silent", message)


def _start_level(facts: LiveFacts) -> Advice | None:
    if facts.phase not in ("smoke", "mixed") or facts.level is None:
        return None
    needed = START_OVER_REFERENCE * facts.reference_level
    now, least = level_text(facts.level, facts.unit), level_text(needed, facts.unit)
    if facts.level < needed:
        return Advice("level_too_low", f"Level too low to begin: {now}; wait for at least {least}.")
    then = "let the mixing fan stop" if facts.empty_room else "switch the unit on once the smoke is mixed"
    return Advice("level_high_enough", f"Level high enough to begin: {now}, at least {least} was needed; {then}.")


def _rate(facts: LiveFacts) -> list[Advice]:
    if facts.phase not in ("decay", "over") or facts.decay is None:
        return []
    precision = facts.precision
    if precision is None:
        why = facts.decay.fit.why_not if facts.decay.fit is not None and facts.decay.fit.why_not else ""
        return [Advice("rate_unknown", f"Rate not known yet. {why}".strip())]
    known = f"Rate known to ±{percent_text(precision.now)} %"
    if facts.phase == "over" or not precision.predictable:
        early = "" if facts.phase == "over" else " so far, with the notes below"
        found = [Advice("rate_known", f"{known}{early}.")]
    elif precision.more_min is None or precision.then is None:
        found = [Advice("rate_known", f"{known}.")]
    else:
        minutes = f"{precision.more_min} more minute{'' if precision.more_min == 1 else 's'}"
        give = "gives" if precision.more_min == 1 else "give"
        found = [Advice("rate_known", f"{known}; {minutes} {give} about ±{percent_text(precision.then)} %.")]
    if precision.may_stop and facts.phase != "over":
        message = f"The interval is within ±{percent_text(STOP_AT)} % of the rate; you may end the run."
        found.append(Advice("may_stop", message))
    return found


def _humidity(facts: LiveFacts) -> Advice | None:
    if facts.humidity_pct is None or facts.phase != "decay":
        return None
    start, now = facts.humidity_pct
    if abs(now - start) < HUMIDITY_CHANGE_PCT / 2:
        return None
    way = "rising" if now > start else "falling"
    message = (
        f"Humidity {way}: from {start:.0f} to {now:.0f} % since the decay began. Above {HUMIDITY_CHANGE_PCT:.0f} "
        "percentage points the rate gets a note, because damp particles look larger."
    )
    return Advice(f"humidity_{way}", message)


def _notes(facts: LiveFacts) -> list[Advice]:
    """What the analysis notes about the rate so far."""
    if facts.phase not in ("decay", "over") or facts.precision is None or facts.decay is None:
        return []
    return [Advice(note.code, note.message) for note in facts.decay.notes if note.severity != "fine"]


def _unmarked(facts: LiveFacts) -> Advice | None:
    decay = facts.decay
    if facts.phase not in ("smoke", "mixed", "background") or decay is None or decay.peak_h is None:
        return None
    falling_min = 60 * (decay.end_h - decay.peak_h)
    if decay.fit is None or decay.fit.decay_rate is None or falling_min < FALLING_MIN:
        return None
    button = "Mixing fan off" if facts.empty_room else "Unit on"
    message = f"The level has been falling for {falling_min:.0f} min. If the decay has begun, tap “{button}”."
    return Advice("not_marked", message)


def _over(facts: LiveFacts) -> Advice | None:
    if facts.phase != "over":
        return None
    return Advice("over", "Ventilate the room before anyone goes in, then finish the run to store it as a trial.")


def percent_text(share: float) -> str:
    """A share as a percentage for a sentence, rounded up so that it never claims too much.

    >>> percent_text(0.0301), percent_text(0.123), percent_text(0.02), percent_text(0.0049)
    ('3.1', '13', '2', '0.49')
    """
    percent = 100 * share
    step = 1.0 if percent >= 10 else 0.1 if percent >= 1 else 0.01
    return f"{step * math.ceil(percent / step - 1e-9):.{0 if step == 1 else 1 if step == 0.1 else 2}f}".removesuffix(
        ".0"
    )


def _span(seconds: float) -> str:
    return f"{seconds:.0f} s" if seconds < 120 else f"{seconds / 60:.0f} min"
