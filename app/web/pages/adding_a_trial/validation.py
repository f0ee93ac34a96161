"""Finds all errors of an invalid trial form at once.

The services stop at the first invalid value. So each part of the form is tried again with that value
replaced by a valid one, until nothing new is found; nothing of these attempts is stored.
"""

from collections.abc import Callable
from datetime import UTC, datetime

from sqlalchemy.orm import Session

from app.reading_files.log_table import LogTable
from app.services.bench.definitions import NewLogger, NewRoom, NewSmokeSource
from app.services.logs.trial_fields import NewTrial, check_marks
from app.services.logs.trial_kinds import UNIT_RUNNING
from app.services.store.checked_values import LONGEST_NAME, optional_text
from app.services.store.entry_fields import entry_fields
from app.services.units.definitions import NewUnit
from app.web.forms.options import NEW
from app.web.forms.typed_form import TypedForm
from app.web.pages.adding_a_trial import fields

# A name that cannot exist on a bench; dimensions large enough for any volume.
_NO_NAME = "\u2063 not yet named"
_NEW = [each for new in (NewUnit, NewRoom, NewLogger, NewSmokeSource) for each in entry_fields(new)]
_HARMLESS = {
    **{each.form_name: each.default if each.choices else _NO_NAME for each in _NEW if each.choices or each.needed},
    **dict.fromkeys(("length_m", "width_m", "height_m"), "1000"),
    "room_volume_m3": "0.001",
}

_TEXTS = (
    *((each.name, each.what, each.longest) for each in entry_fields(NewTrial)),
    ("profile_name", "The name of the logger profile", LONGEST_NAME),
)


def note_every_mistake(session: Session, form: TypedForm, table: LogTable | None, timezone: str) -> None:
    """Adds all other errors to their fields. `table` is None for a file that could not be read."""
    who = form.text("tested_by")
    if form.typed("kind", UNIT_RUNNING) == UNIT_RUNNING:
        if form.text("unit_under_test_id") == NEW:
            _collect(session, form, lambda typed: fields.unit_of(session, typed, who))
            form.needed_text("setting", "The setting")
        else:
            _collect(session, form, lambda typed: _unit_and_setting(session, typed, who))
    for part in (fields.room_chosen, fields.logger_chosen, fields.smoke_source_chosen):

        def choose(typed: TypedForm, part: Callable[[Session, TypedForm, str], object] = part) -> object:
            return part(session, typed, who)

        _collect(session, form, choose)
    _collect(session, form, lambda typed: fields.started_at_of(typed, timezone))
    for name, what, longest in _TEXTS:

        def read_text(typed: TypedForm, name: str = name, what: str = what, longest: int = longest) -> object:
            return optional_text(typed.typed(name), name, what, longest)

        _collect(session, form, read_text)
    _collect(session, form, lambda typed: _marks(typed, table, timezone))


def _unit_and_setting(session: Session, form: TypedForm, who: str) -> None:
    unit_id = fields.unit_of(session, form, who)
    if unit_id is not None:
        fields.setting_of(session, form, unit_id, who)
    elif not form.text("setting"):
        form.needed_text("setting", "The setting")


def _marks(form: TypedForm, table: LogTable | None, timezone: str) -> None:
    begun = table.started_at if table is not None else datetime(2000, 1, 1, tzinfo=UTC)
    marks = fields.marks_of(form, begun, timezone)
    if table is not None:
        check_marks(marks, float(table.elapsed_s[-1]))


def _collect(session: Session, form: TypedForm, act: Callable[[TypedForm], object]) -> None:
    """Tries one part repeatedly, replacing each invalid value, and collects the errors."""
    typed = TypedForm({name: list(texts) for name, texts in form.values.items()})
    seen: set[str] = set()
    while True:
        typed.errors = {}
        with typed.dry_run(session):
            act(typed)
        fields.name_marks_as_typed(typed)
        fresh = {name: message for name, message in typed.errors.items() if name not in seen}
        for name, message in fresh.items():
            form.add_error(name, message.replace(f" {_NO_NAME!r}", ""))  # nobody typed that name
            typed.values[name] = [_HARMLESS.get(name, "")]
        if not fresh or "" in fresh:
            return
        seen |= fresh.keys()
