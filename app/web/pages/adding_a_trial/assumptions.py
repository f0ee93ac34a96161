"""What the file of a run leaves open, and what is assumed instead."""

from datetime import timedelta
from typing import TYPE_CHECKING

from app.compute.wording.numbers import measured_text
from app.web.forms.typed_form import TypedForm
from app.web.pages.adding_a_trial.fields import assumed_zone, zone_of

if TYPE_CHECKING:
    from app.services.adding_trials.preview import LogPreview


def what_to_check(preview: "LogPreview", form: TypedForm) -> tuple[str, ...]:
    """Assumptions about what the file does not say, each with what to do."""
    table = preview.log.table
    found: list[str] = []
    if assumed_zone(form):
        found.append(
            f"The file has local times without a time zone. They were read as {assumed_zone(form)}, the bench time "
            "zone. Confirm this, or choose the zone of the logger clock. Until then a logger profile saves no zone, "
            "and the trial says that it was assumed."
        )
    if table.date_order_unsure and not form.typed("date_order"):
        order = "the day first" if table.day_first else "the month first"
        found.append(
            f"The file does not show whether a date such as 3/4/2026 is in March or in April; {order} was assumed. If "
            "this is wrong, choose the date order above and apply."
        )
    if not table.clock_is_known:
        found += [note for note in table.notes if "clock" in note]
        found.append("The file does not contain the date of the run. Enter the start of the run below.")
    return tuple(found)


def unit_on_hint(preview: "LogPreview", name: str) -> str:
    """What is used where nobody noted the moment. It is not put into the field, because a mark counts as exact."""
    decay, table = preview.decays[name], preview.log.table
    how = "Minutes after the first reading, such as 12.5, or a time of day such as 10:12:30."
    if not decay.unit_on_found:
        return f"{how} As entered; it counts as exact."
    found = decay.unit_on_min
    words = measured_text(found.value, found.uncertainty)
    at = f"{words.value} ± {words.uncertainty}\u00a0min"
    if table.clock_is_known:
        moment = (table.started_at + timedelta(minutes=found.value)).astimezone(zone_of(table.timezone))
        at += f" ({moment:%H:%M:%S})"
    if any(note.code == "unit_on_not_separable" for note in decay.notes):
        return (
            f"{how} The curve does not show it; {at} is used while the field is empty. Enter the time if it was noted."
        )
    return f"{how} Detected at {at}, used while the field is empty. Enter the time if it was noted."
