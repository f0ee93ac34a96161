"""The page of one trial, and its actions: exclude, restore, delete and undelete."""

from fastapi import Request
from sqlalchemy.orm import Session
from starlette.responses import RedirectResponse, Response

from app.services.bench.choices import bench_choices
from app.services.history.change_history import change_history
from app.web.api.shapes import Id
from app.web.dependencies import RenderDep, SessionDep
from app.web.forms.addresses import query_form
from app.web.forms.typed_form import TypedForm, TypedFormDep
from app.web.pages.trials.view import trial_page
from app.web.pages.units.fields import form_of_unit
from app.web.pages.units.form import page_of_change
from app.web.routers import page_router
from app.web.templating.environment import Render

router = page_router()


@router.get("/trials/{trial_id}")
def trial(trial_id: Id, request: Request, session: SessionDep, render: RenderDep) -> Response:
    from app.services.trials.detail import trial_detail  # loaded when used: it needs scipy

    query = query_form(request.query_params)
    page = trial_page(trial_detail(session, trial_id), change_history(session, "trial", trial_id), query)
    return render(
        "pages/trials/page.html", page, charts=bool(page.figure_url), status_code=200 if query.is_good else 422
    )


@router.post("/trials/{trial_id}/exclude")
def excluded(trial_id: Id, session: SessionDep, render: RenderDep, form: TypedFormDep) -> Response:
    """Requires a reason; without one nothing changes, and the page shows the error beside the field."""
    from app.services.trials.marks import exclude_trial  # loaded when used: it needs scipy

    with form.attempt(session):
        exclude_trial(session, trial_id, who=form.text("who"), why=form.text("why"))
        return _back_to(trial_id)
    return _again(trial_id, session, render, form)


@router.post("/trials/{trial_id}/restore")
def restored(trial_id: Id, session: SessionDep, form: TypedFormDep) -> Response:
    from app.services.trials.marks import restore_trial  # loaded when used: it needs scipy

    restore_trial(session, trial_id, who=form.text("who"), why=form.text("why"))
    return _back_to(trial_id)


@router.post("/trials/{trial_id}/trash")
def trashed(trial_id: Id, session: SessionDep, render: RenderDep, form: TypedFormDep) -> Response:
    """Requires a reason; the trial page then shows who deleted it, when and why, with a button to restore it."""
    from app.services.trials.trash import trash_trial

    with form.attempt(session):
        trash_trial(session, trial_id, who=form.text("who"), why=form.text("trash_why"))
        return _back_to(trial_id)
    return _again(trial_id, session, render, _with_own_error(form))


@router.post("/trials/{trial_id}/untrash")
def untrashed(trial_id: Id, session: SessionDep, form: TypedFormDep) -> Response:
    from app.services.trials.trash import untrash_trial

    untrash_trial(session, trial_id, who=form.text("who"), why=form.text("why"))
    return _back_to(trial_id)


@router.post("/units/{unit_id}/trash")
def unit_trashed(unit_id: Id, session: SessionDep, render: RenderDep, form: TypedFormDep) -> Response:
    from app.services.trials.trash import trash_unit

    with form.attempt(session):
        trash_unit(session, unit_id, who=form.text("who"), why=form.text("trash_why"))
        return RedirectResponse(f"/units/{unit_id}", 303)
    stored = form_of_unit(session, unit_id, bench_choices(session).currency)
    stored.errors |= _with_own_error(form).errors
    return render("pages/units/form.html", page_of_change(session, unit_id, stored), status_code=422)


@router.post("/units/{unit_id}/untrash")
def unit_untrashed(unit_id: Id, session: SessionDep, form: TypedFormDep) -> Response:
    from app.services.trials.trash import untrash_unit

    untrash_unit(session, unit_id, who=form.text("who"), why=form.text("why"))
    return RedirectResponse(f"/units/{unit_id}", 303)


def _back_to(trial_id: int) -> Response:
    return RedirectResponse(f"/trials/{trial_id}", 303)


def _again(trial_id: int, session: Session, render: Render, form: TypedForm) -> Response:
    """The trial page with the typed text and its errors."""
    from app.services.trials.detail import trial_detail  # loaded when used: it needs scipy

    page = trial_page(trial_detail(session, trial_id), change_history(session, "trial", trial_id), TypedForm())
    page.form.values |= form.values
    page.form.errors |= form.errors
    return render("pages/trials/page.html", page, charts=bool(page.figure_url), status_code=422)


def _with_own_error(form: TypedForm) -> TypedForm:
    """Moves the error to this form's own reason field, since other forms of the page have one too."""
    if "why" in form.errors:
        form.errors["trash_why"] = form.errors.pop("why")
    return form
