"""Reads the question of a plan from a form or a URL; page, chart and saved campaign share it."""

from dataclasses import asdict
from typing import Any

from sqlalchemy.orm import Session

from app.errors import HazefallError, InvalidValue
from app.services.adding_trials.plans.definitions import PlanChoices, asked_settings
from app.services.units.entry import find_setting, get_unit
from app.services.units.speed_settings import settings_of
from app.web.forms.typed_form import TypedForm, empty_form

# unit and setting of the form for each setting of the question
SETTING_FIELDS = {"setting_id": ("unit_id", "setting"), "other_setting_id": ("other_unit_id", "other_setting")}


def plan_choices(session: Session, form: TypedForm) -> PlanChoices | None:
    """The question; None, with every mistake beside its field, if there is one."""
    known: dict[str, Any] = {name: _setting_id(session, form, name, *fields) for name, fields in SETTING_FIELDS.items()}
    known["room_id"] = form.whole_number("room_id", "The test room")
    asked = form.entry(PlanChoices, **known)
    if asked is None:  # what is missing of the settings is said beside the other mistakes
        asked = PlanChoices(goal=form.text("goal") or "order", **known)
    try:
        asked_settings(asked)
    except InvalidValue as error:
        name = SETTING_FIELDS[error.field or "setting_id"][0]
        if name not in form.errors:
            form.add_error(name, error.message)
    return asked if form.is_good else None


def _setting_id(session: Session, form: TypedForm, name: str, unit_field: str, setting_field: str) -> int | None:
    """The setting by its own id, or by unit and name; of a unit alone its highest setting."""
    if form.text(name):
        return form.whole_number(name, "The setting")
    unit_id = form.whole_number(unit_field, "The unit")
    if unit_id is None:
        return None
    try:
        unit = get_unit(session, unit_id)
    except HazefallError as error:
        form.add_error(unit_field, error.message)
        return None
    settings = settings_of(session, unit_id)
    typed = form.text(setting_field)
    if not typed:
        if not settings:
            form.add_error(unit_field, f"{unit.maker} {unit.model} has no speed setting yet. Add one on its page.")
            return None
        return next((each.id for each in settings if each.is_highest), settings[-1].id)
    found = find_setting(session, unit_id, typed)
    if found is None:
        names = ", ".join(each.name for each in settings) or "none yet"
        form.add_error(
            setting_field, f"{unit.maker} {unit.model} has no setting {typed[:60]!r}; its settings are: {names}."
        )
    return found


def form_of_choices(choices: PlanChoices) -> TypedForm:
    """The question as the values of a URL, with every default filled in."""
    return empty_form(**asdict(choices))
