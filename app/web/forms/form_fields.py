"""Form fields for templates, derived from entry definitions."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from app.services.bench.definitions import (
    BenchChoices,
    NewCheckUnit,
    NewLogger,
    NewRoom,
    NewRoomChange,
    NewSmokeSource,
    NewTariff,
)
from app.services.logs.logger_checks.definitions import NewLoggerCheck
from app.services.logs.trial_fields import NewTrial, TrialMarks
from app.services.measurements.definitions import (
    NewClaim,
    NewClip,
    NewOzoneTest,
    NewPowerMeasurement,
    NewRating,
    NewSoundMeasurement,
)
from app.services.store.entry_fields import EntryField, entry_fields
from app.services.units.attachments.definitions import NewAttachment
from app.services.units.definitions import NewConsumable, NewPrice, NewUnit
from app.web.forms.options import plain_choices
from app.web.templating.page_context import Choice

# names of the definitions in templates
DEFINITIONS: dict[str, Any] = {
    "bench": BenchChoices,
    "unit": NewUnit,
    "price": NewPrice,
    "consumable": NewConsumable,
    "room": NewRoom,
    "room change": NewRoomChange,
    "check unit": NewCheckUnit,
    "logger": NewLogger,
    "logger check": NewLoggerCheck,
    "smoke source": NewSmokeSource,
    "tariff": NewTariff,
    "sound": NewSoundMeasurement,
    "power": NewPowerMeasurement,
    "ozone": NewOzoneTest,
    "rating": NewRating,
    "claim": NewClaim,
    "clip": NewClip,
    "trial": NewTrial,
    "marks": TrialMarks,
    "attachment": NewAttachment,
}


@dataclass(frozen=True, slots=True)
class FormField:
    """One field with the typed text and its error."""

    name: str
    entry: EntryField
    value: str
    error: str
    choices: Sequence[Choice]


def fields_shown(what: str, prefix: str, typed: Mapping[str, list[str]], errors: Mapping[str, str]) -> list[FormField]:
    """Form fields of a room, a unit and so on, in order, with the typed text."""
    found = []
    for field in entry_fields(DEFINITIONS[what]):
        if field.label:
            name = f"{prefix}{field.form_name}"
            default = field.default if field.kind == "text" else None
            value = typed[name][0] if typed.get(name) else default or ""
            may_be_left = field.choices and field.default is None and not field.needed
            offered = ("", *field.choices) if may_be_left else field.choices
            choices = plain_choices(offered, value, dict(field.choice_words))
            found.append(FormField(name, field, value, errors.get(name, ""), choices))
    return found
