"""Findings of a control chart as sentences: what was found, and what to do. Page, API and upload preview share them."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime

from app.compute.control_charts.chart import ChartPoint, ControlChart, Phase, Shift
from app.compute.control_charts.reference import FEWEST_REFERENCE_RUNS
from app.compute.statistics.measured import Measured
from app.compute.wording.numbers import counted, plus_minus
from app.compute.wording.rounding import decimals_for, rounded_text

_CHECK_THE_ROOM = (
    "Check door, window, seals and fans, and the notes of the run; repeat the empty-room run within a week. Exclude "
    "the run only for a reason that you can name."
)
_CHECK_THE_UNIT = (
    "Check its filter, setting and place, the seals of the room and the logger; repeat the run within a week."
)


@dataclass(frozen=True, slots=True)
class ChartTerms:
    """What a chart is of, for sentences. `to_do` : after a run outside the limits"""

    what: str
    run: str
    unit_of_measure: str
    to_do: str


NATURAL_TERMS = ChartTerms("natural decay", "empty-room run", "per hour", _CHECK_THE_ROOM)
CHECK_TERMS = ChartTerms("clean air of the check unit", "run of the check unit", "m³/h", _CHECK_THE_UNIT)


def chart_finding(chart: ControlChart, terms: ChartTerms) -> str:
    """The state of a chart in one or two sentences."""
    if not chart.phases:
        return f"No usable {terms.run} yet."
    phase = chart.phases[-1]
    if phase.limits is None:
        return _too_few(phase, terms)
    total = sum(not point.in_reference for point in phase.points)
    if total == 0:
        return f"The {counted(phase.found, 'reference run')} are complete; the next {terms.run} is the first to check."
    found = []
    shift = chart.present_shift
    if shift is not None:
        found.append(shift_words(shift, terms))
    outside = sum(point.outside and not point.in_reference for point in phase.points)
    if outside:
        runs, lie = counted(total, terms.run, _plural(terms.run)), "lies" if outside == 1 else "lie"
        found.append(f"{outside} of {runs} {lie} outside the limits.")
    if not found:
        runs = counted(total, terms.run, _plural(terms.run))
        return f"In control: {runs} since the reference period, none outside the limits and no shift."
    return " ".join(found)


def _too_few(phase: Phase, terms: ChartTerms) -> str:
    missing = phase.needed - phase.found
    if phase.period.last_day is not None:
        return (
            f"The stated reference period has {counted(phase.found, terms.run, _plural(terms.run))}; limits need at "
            f"least {FEWEST_REFERENCE_RUNS}. Extend the period."
        )
    return (
        f"{phase.found} of {phase.needed} reference runs: limits appear after "
        f"{counted(missing, 'more ' + terms.run, 'more ' + _plural(terms.run))}."
    )


def _plural(run: str) -> str:
    return run.replace("run", "runs", 1)


def shift_words(shift: Shift, terms: ChartTerms) -> str:
    """A shift with its size and dates."""
    size = change_text(shift.change, terms.unit_of_measure)
    begun = day_of(shift.first.day).isoformat()
    if shift.restarted:
        return f"From {begun} on, the {terms.what} of the new reference period is {size} than before."
    ended = "" if shift.ended is None else f" until {day_of(shift.ended.day).isoformat()}"
    return (
        f"The {terms.what} shifted: since about {begun}{ended} it is {size} on average, found with trial "
        f"{shift.found.run_id} on {day_of(shift.found.day).isoformat()}."
    )


def change_text(change: Measured, unit_of_measure: str) -> str:
    size = plus_minus(abs(change.value), change.uncertainty)
    return f"{size} {unit_of_measure} {'higher' if change.value > 0 else 'lower'}"


def shift_advice(shift: Shift) -> str:
    """What to do about a shift."""
    if shift.restarted:
        return "Compare trials across this day with care, or repeat them."
    return (
        "If something changed in the room, note it below and begin new limits on that day. If nothing did, look for a "
        "leak and compare the logger with another one. Compare trials across this day with care, or repeat them."
    )


def point_words(point: ChartPoint, terms: ChartTerms) -> str:
    """A run outside its limits, with its distance."""
    low, high = point.low or 0.0, point.high or 0.0
    above = point.run.value > high
    limit = high if above else low
    decimals = max(decimals_for(point.run.uncertainty) or 0, 0)
    return (
        f"{plus_minus(point.run.value, point.run.uncertainty)} {terms.unit_of_measure} is "
        f"{'above the upper' if above else 'below the lower'} limit of {rounded_text(limit, decimals)}"
    )


def removed_words(trial_ids: Sequence[int]) -> str:
    """What a removed reference run means; "" if there is none."""
    if not trial_ids:
        return ""
    named = ", ".join(str(trial_id) for trial_id in trial_ids[:8]) + (", …" if len(trial_ids) > 8 else "")
    trials = "Trial" if len(trial_ids) == 1 else "Trials"
    return (
        f"{trials} {named} in the reference period {'was' if len(trial_ids) == 1 else 'were'} excluded or deleted; the "
        "limits were computed without and differ from earlier ones."
    )


def day_of(day: float) -> date:
    """The date of a day number, UTC."""
    return datetime.fromtimestamp(day * 86400, UTC).date()
