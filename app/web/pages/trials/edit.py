"""Editing the details of a trial: unit, setting, room, logger, source, tester, notes. The log does not change."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy.orm import Session
from starlette.responses import RedirectResponse, Response

from app.services.bench.definitions import AEROSOLS
from app.services.bench.form_options import TrialFormOptions, trial_form_options
from app.services.logs.trial_fields import NewTrial, TrialMarks
from app.services.units.definitions import KINDS_OF_CLEANING
from app.web.api.shapes import Id
from app.web.dependencies import RenderDep, SessionDep
from app.web.forms.options import NEW, plain_choices, select_options
from app.web.forms.typed_form import TypedForm, TypedFormDep, filled_form
from app.web.pages.adding_a_trial.fields import kinds_of_trial, new_trial_of
from app.web.pages.trials.marks import title_of
from app.web.routers import page_router
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


def edit_page(trial: Any, form: TypedForm, form_options: TrialFormOptions) -> TrialEditPage:
    """The edit page of a stored trial; `form` holds its details, or what was typed."""
    return TrialEditPage(
        trial_id=trial.id,
        title=title_of(trial),
        form=form,
        kinds=[Choice(value, words, True) for value, words in kinds_of_trial() if value == trial.kind],
        units=select_options(form_options.units, form.typed("unit_under_test_id"), "none", "a new unit"),
        kinds_of_cleaning=plain_choices(KINDS_OF_CLEANING, form.typed("kind_of_cleaning", "mechanical filter")),
        setting_names=form_options.setting_names,
        rooms=select_options(form_options.rooms, form.typed("room_id"), "choose one", "a new room"),
        loggers=select_options(form_options.loggers, form.typed("logger_id"), "not specified", "a new logger"),
        smoke_sources=select_options(
            form_options.smoke_sources, form.typed("smoke_source_id"), "not specified", "a new source"
        ),
        aerosols=plain_choices(AEROSOLS, form.typed("aerosol", "smoke")),
        asks_for_start=False,
        new_unit_is_open=form.typed("unit_under_test_id") == NEW,
        new_room_is_open=form.typed("room_id") == NEW,
        new_logger_is_open=form.typed("logger_id") == NEW,
        new_source_is_open=form.typed("smoke_source_id") == NEW,
    )


router = page_router()
TEMPLATE = "pages/trials/edit.html"


@router.get("/trials/{trial_id}/edit")
def trial_to_change(trial_id: Id, session: SessionDep, render: RenderDep) -> Response:
    from app.services.trials.detail import trial_detail  # loaded when used: it needs scipy

    trial = trial_detail(session, trial_id).trial
    form = filled_form(
        NewTrial,
        trial,
        unit_under_test_id=trial.unit_under_test_id,
        setting=trial.setting.name if trial.setting else None,
        room_id=trial.room_id,
        logger_id=trial.logger_id,
        smoke_source_id=trial.smoke_source_id,
    )
    return render(TEMPLATE, _page(session, trial, form))


@router.post("/trials/{trial_id}/edit")
def trial_changed(trial_id: Id, session: SessionDep, render: RenderDep, form: TypedFormDep) -> Response:
    from app.services.trials.detail import trial_detail  # loaded when used: it needs scipy
    from app.services.trials.facts import CHANGEABLE, change_trial_facts

    trial = trial_detail(session, trial_id).trial
    form.values["kind"] = [trial.kind]  # the kind cannot change; another kind would be another trial
    with form.attempt(session):
        told = new_trial_of(session, form, TrialMarks(), "UTC")
        form.stop_if_errors()
        changed = {name: getattr(told, name) for name in CHANGEABLE}
        change_trial_facts(session, trial_id, changed, who=form.text("who"), why=form.text("why"))
        return RedirectResponse(f"/trials/{trial_id}", 303)
    return render(TEMPLATE, _page(session, trial_detail(session, trial_id).trial, form), status_code=422)


def _page(session: Session, trial: Any, form: TypedForm) -> TrialEditPage:
    form.values["kind"] = [trial.kind]
    return edit_page(trial, form, trial_form_options(session))
