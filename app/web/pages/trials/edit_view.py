"""Context of the edit page of a trial: the fields of the trial form, without log and marks."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from app.services.bench.form_options import TrialFormOptions
from app.services.bench.rooms import AEROSOLS
from app.services.units.entry import KINDS_OF_CLEANING
from app.web.forms.options import NEW, offered, plain_choices
from app.web.forms.typed_form import TypedForm
from app.web.pages.adding_a_trial.fields import kinds_of_trial
from app.web.pages.trials.marks import title_of
from app.web.templating.page_context import Choice


@dataclass(frozen=True, slots=True)
class TrialEditPage:
    trial_id: int
    title: str
    form: TypedForm
    kinds: Sequence[Choice]
    units: Sequence[Choice]
    kinds_of_cleaning: Sequence[Choice]
    setting_names: Sequence[str]
    rooms: Sequence[Choice]
    loggers: Sequence[Choice]
    smoke_sources: Sequence[Choice]
    aerosols: Sequence[Choice]
    asks_for_start: bool
    new_unit_is_open: bool
    new_room_is_open: bool
    new_logger_is_open: bool
    new_source_is_open: bool


def edit_page(trial: Any, form: TypedForm, offers: TrialFormOptions) -> TrialEditPage:
    """The edit page of a stored trial; `form` holds its details, or what was typed."""
    return TrialEditPage(
        trial_id=trial.id,
        title=title_of(trial),
        form=form,
        kinds=[Choice(value, words, True) for value, words in kinds_of_trial() if value == trial.kind],
        units=offered(offers.units, form.typed("unit_under_test_id"), "none", "a new unit"),
        kinds_of_cleaning=plain_choices(KINDS_OF_CLEANING, form.typed("kind_of_cleaning", "mechanical filter")),
        setting_names=offers.setting_names,
        rooms=offered(offers.rooms, form.typed("room_id"), "choose one", "a new room"),
        loggers=offered(offers.loggers, form.typed("logger_id"), "not told", "a new logger"),
        smoke_sources=offered(offers.smoke_sources, form.typed("smoke_source_id"), "not told", "a new source"),
        aerosols=plain_choices(AEROSOLS, form.typed("aerosol", "smoke")),
        asks_for_start=False,
        new_unit_is_open=form.typed("unit_under_test_id") == NEW,
        new_room_is_open=form.typed("room_id") == NEW,
        new_logger_is_open=form.typed("logger_id") == NEW,
        new_source_is_open=form.typed("smoke_source_id") == NEW,
    )
