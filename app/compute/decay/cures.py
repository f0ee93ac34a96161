"""What to do about each note on one channel.

Advice that sets a mark is tried before it is given: the analysis is repeated with the mark, and only a mark that makes
the trial usable without the finding is named. `tests/studies/advice.py` follows every other advice in simulated trials.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

from app.compute.decay.fit import FitOutcome, Readings
from app.compute.decay.fit_checks import is_early
from app.compute.decay.phases import Phases
from app.compute.decay.reading_checks import FEW_READINGS, LOW_START_STEPS
from app.compute.decay.result import ChannelDecay, Marks
from app.compute.decay.window import excess_floor, time_to_floor_h
from app.compute.wording.notes import END_OR_START, Advice, Note

# All: common practice, no source.
BEFORE_SMOKE_MIN = 10.0
SMOKE_MARGIN = 4.0
# Of display steps, because rounding of a level that hardly moves is no noise: in 120 simulated runs each with steps of
# 1 µg/m³, four times the limit gave intervals that held the rate in 91 %, six times in 93 %, eight times in 95 %.
STEPS_MARGIN = 8.0
SLOWEST_PER_H = 0.1  # a run is not asked to be longer than a rate like this needs
MARGIN = 1.2  # what a run needs is asked for with so much to spare
EARLIER_MIN = (0.0, 1.0, 2.0, 3.0)  # a change that takes minutes is found in its middle
# Shares of the distance from the window's start by which a fit start is moved beyond the place found: what fades is not
# over there. For a fading start, and for a change of rate.
LATER = {False: (1.5, 1.0, 0.5, 0.0), True: (0.7, 0.5, 0.25, 0.0)}


@dataclass(frozen=True, slots=True)
class Case:
    """A channel as analysed. retried : the analysis of the same readings with other marks."""

    readings: Readings
    phases: Phases
    outcome: FitOutcome
    marks: Marks
    retried: Callable[[Marks], ChannelDecay]


def with_advice(notes: tuple[Note, ...], case: Case) -> tuple[Note, ...]:
    """The notes, each with its advice where there is one."""
    return tuple(replace(note, advice=_advice(note, case)) for note in notes)


def _advice(note: Note, case: Case) -> Advice | None:
    if note.severity == "fine":
        return None
    if note.code in _FIXED:
        return _FIXED[note.code]
    found = _COMPUTED.get(note.code)
    return None if found is None else found(note, case)


def _more_readings(note: Note, case: Case) -> Advice:
    """A shorter interval where the decay lasts long enough for it, otherwise a longer run."""
    fit, interval_s = case.outcome.fit, 3600 * case.readings.interval_h
    length_h = max(fit.window_end_h - fit.window_start_h, 0.0)
    if fit.decay_rate is not None:
        excess = case.outcome.excess_at_start
        floor = excess_floor(case.readings.step, excess)
        length_h = min(length_h, time_to_floor_h(excess, fit.decay_rate.value, floor))
    needed_s = math.floor(3600 * length_h / (MARGIN * FEW_READINGS))
    if 1 <= needed_s < interval_s:
        return Advice("log_faster", float(needed_s))
    lead_h = max(fit.window_start_h - case.phases.unit_on_h, 0.0)
    return _run_longer(lead_h + MARGIN * FEW_READINGS * max(interval_s, 1.0) / 3600)


def _run_longer(hours: float) -> Advice:
    return Advice("run_longer", 5.0 * math.ceil(60 * hours / 5))


def _more_smoke(note: Note, case: Case) -> Advice:
    assert note.value is not None
    assert note.limit is not None
    of_steps = case.readings.step > 0 and note.limit <= LOW_START_STEPS * case.readings.step
    margin = STEPS_MARGIN if of_steps else SMOKE_MARGIN
    factor = margin * note.limit / max(note.value, 1e-3 * note.limit)
    return Advice("more_smoke", math.ceil(2 * factor) / 2)


def _longer_run(note: Note, case: Case) -> Advice:
    """Until the excess has fallen far enough at the fitted rate."""
    fit = case.outcome.fit
    assert fit.decay_rate is not None
    assert note.limit is not None
    lead_h = max(fit.window_start_h - case.phases.unit_on_h, 0.0)
    if note.severity == "unusable":  # the rate is too uncertain to say how long; a known background needs less
        return Advice("log_before_smoke", BEFORE_SMOKE_MIN)
    rate = max(fit.decay_rate.value, SLOWEST_PER_H)
    return _run_longer(lead_h + MARGIN * math.log(1 / note.limit) / rate)


def _faster_sampling(note: Note, case: Case) -> Advice:
    assert note.limit is not None
    return Advice("log_faster", float(max(math.floor(note.limit / MARGIN), 1)))


def _told_from_zero(note: Note, case: Case) -> Advice:
    if case.outcome.at_least_per_h > 0 and math.isnan(case.outcome.before):
        return Advice("log_before_smoke", BEFORE_SMOKE_MIN)
    return _run_longer(3 * (case.outcome.fit.window_end_h - case.phases.unit_on_h))


def _clearer_fall(note: Note, case: Case) -> Advice:
    """A longer run where little of the smoke was gone at its end, otherwise more smoke."""
    fit = case.outcome.fit
    assert fit.decay_rate is not None
    length_h = fit.window_end_h - fit.window_start_h
    if fit.decay_rate.value * length_h < 1.0:
        return _run_longer(case.phases.end_h - case.phases.unit_on_h + 2 * max(length_h, 0.25))
    return Advice("more_smoke", 8.0)


def _rise(note: Note, case: Case) -> Advice | None:
    return Advice("repeat_undisturbed") if note.severity == "unusable" else None


def _departure(note: Note, case: Case) -> Advice:
    """The mark that leaves out what is not one exponential, or a new run where no mark does."""
    assert note.at_min is not None
    event = case.outcome.event
    at_min = note.at_min + 60 * case.phases.unit_on_h
    ends = [math.floor(10 * (at_min - earlier)) / 10 for earlier in EARLIER_MIN]
    end = _first_that_works(note, case, "end_h", ends)
    if note.code == "clock_jump":
        return Advice("set_clock") if end is None else Advice("set_run_end", end)
    if event is None or (event.kind == "slow_tail" and not is_early(event, case.outcome.fit)):
        return Advice("repeat_undisturbed")
    if event.kind == "jump":
        return Advice("repeat_undisturbed") if end is None else Advice("set_run_end", end)
    past_start = at_min - 60 * case.outcome.fit.window_start_h
    starts = [round(at_min + more * past_start, 1) for more in LATER[event.kind == "rate_change"]]
    start = _first_that_works(note, case, "fit_start_h", starts)
    if event.kind == "rate_change" and (end, start) != (None, None):
        return Advice(END_OR_START, end, start)
    return Advice("mix_first") if start is None else Advice("set_fit_start", start)


def _first_that_works(note: Note, case: Case, mark: str, minutes: list[float]) -> float | None:
    """The first of these values of a mark with which the trial is usable and the note is gone."""
    for at_min in minutes:
        tried = case.retried(replace(case.marks, **{mark: at_min / 60}))
        if tried.usable and note.code not in {each.code for each in tried.notes}:
            return at_min
    return None


_FIXED = {
    "saturation": Advice("less_smoke"),
    "gap_in_window": Advice("keep_logging"),
    "repeated_times": Advice("set_clock"),
    "unstable_background": Advice("wait_for_background"),
    "no_decay": Advice("check_run"),
    "rising_level": Advice("check_run"),
    "window_moved": Advice("mix_first"),
    "rose_after_unit_on": Advice("mix_first"),
    "unit_on_not_separable": Advice("set_unit_on"),
}
_COMPUTED: dict[str, Callable[[Note, Case], Advice | None]] = {
    "too_few_readings": _more_readings,
    "low_start_level": _more_smoke,
    "run_too_short": _longer_run,
    "sampling_too_slow": _faster_sampling,
    "decay_not_told_from_zero": _told_from_zero,
    "poor_fit": _clearer_fall,
    "rises_again": _rise,
    "not_one_exponential": _departure,
    "clock_jump": _departure,
}
