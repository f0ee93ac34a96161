"""The fields of a trial in a form: what can be chosen for each, with something new as the last choice."""

from collections.abc import Sequence
from dataclasses import dataclass

from app.services.bench.form_options import TrialFormOptions
from app.web.forms.options import NEW, select_options
from app.web.forms.typed_form import TypedForm
from app.web.pages.adding_a_trial.fields import kinds_of_trial
from app.web.templating.page_context import Choice

_NOTHING_OFFERED = 2  # a list with only its first and last option


@dataclass(frozen=True, slots=True)
class ConditionFields:
    """`asks_for_start`: the clock of the log is not trusted, so a person has to enter the start."""

    form: TypedForm
    kinds: Sequence[Choice]
    units: Sequence[Choice]
    setting_names: Sequence[str]
    rooms: Sequence[Choice]
    loggers: Sequence[Choice]
    smoke_sources: Sequence[Choice]
    asks_for_start: bool

    @property
    def new_unit_is_open(self) -> bool:
        return self.form.typed("unit_under_test_id") == NEW or len(self.units) == _NOTHING_OFFERED

    @property
    def new_room_is_open(self) -> bool:
        return self.form.typed("room_id") == NEW or len(self.rooms) == _NOTHING_OFFERED

    @property
    def new_logger_is_open(self) -> bool:
        return self.form.typed("logger_id") == NEW

    @property
    def new_source_is_open(self) -> bool:
        return self.form.typed("smoke_source_id") == NEW


def condition_fields(form: TypedForm, options: TrialFormOptions, *, asks_for_start: bool = False) -> ConditionFields:
    """The fields as they were typed, or as they are stored."""
    return ConditionFields(
        form=form,
        kinds=[Choice(value, words, value == form.typed("kind")) for value, words in kinds_of_trial()],
        units=select_options(options.units, form.typed("unit_under_test_id"), "choose one", "a new unit"),
        setting_names=options.setting_names,
        rooms=select_options(options.rooms, form.typed("room_id"), "choose one", "a new room"),
        loggers=select_options(options.loggers, form.typed("logger_id"), "not specified", "a new logger"),
        smoke_sources=select_options(
            options.smoke_sources, form.typed("smoke_source_id"), "not specified", "a new source"
        ),
        asks_for_start=asks_for_start,
    )
