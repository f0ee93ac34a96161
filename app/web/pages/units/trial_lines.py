"""List of trials on a unit's page: room, result, and whether each is included."""

from dataclasses import dataclass

from app.compute.wording.numbers import listed, measured_text, not_within, plus_minus
from app.compute.wording.rounding import rounded_text
from app.services.reviews.unit_overview import UnitOverview
from app.services.trials.list import ListedTrial
from app.web.forms.unit_system import UnitSystem
from app.web.pages.cells import Cell

NO_RESULT = "The trial is unusable; its notes say why."


@dataclass(frozen=True, slots=True)
class UnitTrialLine:
    """One trial of the unit, with its notes of severity "care"."""

    id: int
    day: str
    room: str
    setting: str
    filter_state: str
    tested_by: str
    decay: Cell
    rate: Cell
    time_to_clear: Cell
    start_level: str
    state: str
    notes: tuple[tuple[str, str], ...]  # severity, message


def which_trials(known: UnitOverview) -> str:
    """The trials that are listed, and how many there are."""
    there, listed_here = known.number_of_trials, len(known.trials)
    if listed_here == there:
        return "All trials, newest first"
    return f"The newest {listed_here} of {rounded_text(there, 0)} trials"


def trials_text(known: UnitOverview) -> str:
    """Summary of the list of trials, and the rooms that are not part of the numbers above."""
    words = f"{which_trials(known)}; values with standard uncertainty."
    here = known.lines.room
    if here is None:
        return words
    others = [one.room for one in known.trials_in if one.room_id != here.id]
    if not others or len(others) == len(known.trials_in):
        return words
    return f"{words} The results above use only trials in {here.name}, not those in {listed(others)}."


def trial_line(one: ListedTrial, known: UnitOverview, system: UnitSystem) -> UnitTrialLine:
    """One trial of the list; a missing quantity has a reason."""
    trial, result = one.trial, one.result
    missing = Cell("missing", reason="No result for this channel.")
    decay = rate = time = missing
    start = "–"
    if result is not None:
        start = f"{plus_minus(result.start_level, result.start_level_uncertainty)}\u00a0{result.unit}"
        decay = Cell("missing", reason=result.why_not or NO_RESULT)
        if result.total_decay_per_h is not None:
            words = measured_text(result.total_decay_per_h, result.total_decay_uncertainty_per_h)
            decay = Cell("value", f"{words.value} ± {words.uncertainty}")
        rate = Cell("missing", reason="Without a natural decay, only the total decay is known.")
        if not result.usable:
            rate = Cell("missing", reason=NO_RESULT)
        if result.clean_air_delivery_rate_m3_per_h is not None:
            flow = system.flow_text(
                result.clean_air_delivery_rate_m3_per_h, result.clean_air_delivery_rate_uncertainty, None, None
            )
            rate = Cell("value", f"{flow.value} ± {flow.uncertainty}")
        time = Cell("missing", reason="The level was never above the clear level." if result.usable else NO_RESULT)
        if result.time_to_clear_min is not None:
            time = Cell("value", plus_minus(result.time_to_clear_min, result.time_to_clear_uncertainty_min))
        elif result.not_cleared_before_min is not None:
            bound = not_within(result.not_cleared_before_min).removesuffix("\u00a0min")
            time = Cell("bound", bound, reason="The clear level was not reached before the end of the run.")
    return UnitTrialLine(
        trial.id,
        trial.started_at.date().isoformat(),
        trial.room.name,
        trial.setting.name if trial.setting else "",
        trial.filter_state,
        trial.tested_by,
        decay,
        rate,
        time,
        start,
        _state(one),
        tuple((note.severity, note.text) for note in known.notes.get(trial.id, ())),
    )


def _state(one: ListedTrial) -> str:
    trial = one.trial
    if trial.excluded_at is not None:
        return f"excluded by {trial.excluded_by or 'the desk'} on {trial.excluded_at.date()}: {trial.excluded_why}"
    if one.result is None:
        return "no result for this channel"
    return "included" if one.result.usable else "unusable"
