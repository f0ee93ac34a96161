"""Editing the details of a trial: unit, setting, room, logger, source, tester, notes. The log does not change."""

from dataclasses import dataclass, replace
from typing import Any

from sqlalchemy.orm import Session
from starlette.responses import RedirectResponse, Response

from app.services.bench.form_options import trial_form_options
from app.services.logs.trial_fields import NewTrial, TrialMarks
from app.services.units.definitions import USUAL_KIND
from app.web.api.shapes import Id
from app.web.dependencies import RenderDep, SessionDep
from app.web.forms.typed_form import TypedForm, TypedFormDep, filled_form
from app.web.pages.adding_a_trial.conditions import ConditionFields, condition_fields
from app.web.pages.adding_a_trial.fields import new_trial_of
from app.web.pages.trials.marks import title_of
from app.web.routers import page_router


@dataclass(frozen=True, slots=True)
class TrialEditPage:
    trial_id: int
    title: str
    form: TypedForm
    conditions: ConditionFields


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
        kind_of_cleaning=USUAL_KIND,
    )
    return render(TEMPLATE, _page(session, trial, form))


@router.post("/trials/{trial_id}/edit")
def trial_changed(trial_id: Id, session: SessionDep, render: RenderDep, form: TypedFormDep) -> Response:
    from app.services.trials.detail import trial_detail  # loaded when used: it needs scipy
    from app.services.trials.edit import CHANGEABLE, change_trial_details

    trial = trial_detail(session, trial_id).trial
    form.values["kind"] = [trial.kind]  # the kind cannot change; another kind would be another trial
    with form.attempt(session):
        entered = new_trial_of(session, form, TrialMarks(), "UTC")
        form.stop_if_errors()
        changed = {name: getattr(entered, name) for name in CHANGEABLE}
        change_trial_details(session, trial_id, changed, who=form.text("who"), why=form.text("why"))
        return RedirectResponse(f"/trials/{trial_id}", 303)
    return render(TEMPLATE, _page(session, trial_detail(session, trial_id).trial, form), status_code=422)


def _page(session: Session, trial: Any, form: TypedForm) -> TrialEditPage:
    form.values["kind"] = [trial.kind]
    fields = condition_fields(form, trial_form_options(session))
    fields = replace(fields, kinds=[choice for choice in fields.kinds if choice.chosen])
    return TrialEditPage(trial.id, title_of(trial), form, fields)
