"""Marks that can be dragged on the chart of a run."""

from dataclasses import dataclass
from typing import Any

from app.services.logs.trial_fields import MARKS
from app.web.forms.typed_form import TypedForm
from app.web.pages.adding_a_trial.fields import minutes_text


@dataclass(frozen=True, slots=True)
class MarkHandle:
    """A mark that can be dragged on the chart: its field, label and position [min after first reading]."""

    field: str
    words: str
    at_min: str


def marks_of_decay(decay: Any) -> dict[str, str]:
    """Positions of the marks in an analysis that is not stored, in minutes after the first reading."""
    hours = {
        "smoke_start": decay.smoke_start_h,
        "smoke_end": decay.peak_h,
        "unit_on": decay.unit_on_h,
        "fit_start": decay.fit.window_start_h if decay.fit else None,
        "fit_end": decay.fit.window_end_h if decay.fit else None,
        "end": decay.end_h,
    }
    return {name: minutes_text(None if value is None else value * 3600) for name, value in hours.items()}


def handles_of(form: TypedForm, found: dict[str, str], *, empty_room: bool = False) -> list[MarkHandle]:
    """A handle for each mark: where it was typed, or else where it was found.

    empty_room : no unit was switched on, so that mark is where the decay starts
    """
    handles = []
    for mark in MARKS:
        name = mark.form_name
        typed = form.text(name)
        at = typed if typed.replace(".", "", 1).isdecimal() else found.get(name, "")
        if at:
            handles.append(MarkHandle(name, "Decay start" if empty_room and name == "unit_on" else mark.label, at))
    return handles
