"""Second step of adding a trial: the preview, with every choice editable. The last button stores it."""

from typing import TYPE_CHECKING

from fastapi import Request
from sqlalchemy.orm import Session
from starlette.background import BackgroundTask
from starlette.responses import RedirectResponse, Response

from app.errors import HazefallError, InvalidValue, UnreadableLog
from app.reading_files.log_table import ReadingChoices
from app.services.adding_trials.staged_uploads import (
    StagedUpload,
    StagingArea,
    discard_upload,
    staged_content,
    staged_upload,
)
from app.services.adding_trials.upload_keys import digest_of_upload, keep_key, trial_of_key
from app.services.bench.form_options import TrialFormOptions, trial_form_options
from app.services.logs.logger_profiles import load_profile, save_profile
from app.services.logs.store import trials_of_file
from app.services.logs.trial_fields import NewTrial, TrialMarks, check_marks
from app.services.logs.trial_kinds import UNIT_RUNNING
from app.services.units.definitions import USUAL_KIND
from app.web.current_user import user_may
from app.web.dependencies import ReadSessionDep, RenderDep, SessionDep
from app.web.forms.addresses import query_form
from app.web.forms.options import NEW
from app.web.forms.staging import StagingDep
from app.web.forms.typed_form import TypedForm, TypedFormDep
from app.web.pages.adding_a_trial.fields import (
    choices_of,
    marks_of,
    name_marks_as_typed,
    new_logger_of,
    new_trial_of,
    started_at_of,
)
from app.web.pages.adding_a_trial.header_line import DETECTED, raw_lines, refused_header, take_header_line
from app.web.pages.adding_a_trial.preview_view import PreviewBeside, PreviewPage, preview_page
from app.web.pages.adding_a_trial.same_time import runs_at_that_time
from app.web.pages.adding_a_trial.validation import note_every_mistake
from app.web.routers import page_router

if TYPE_CHECKING:
    from app.services.adding_trials.preview import LogPreview

router = page_router()
TEMPLATE = "pages/adding_a_trial/preview.html"


@router.get("/trials/add/{token}")
def previewed(token: str, request: Request, session: SessionDep, area: StagingDep, render: RenderDep) -> Response:
    """Reads the staged file as the URL says and shows the result."""
    upload = staged_upload(area, token)
    form = with_last_conditions(query_form(request.query_params), trial_form_options(session))
    take_header_line(form)
    page = read_preview(session, area, upload, form)
    return render(TEMPLATE, page, charts=page.has_chart, status_code=200 if form.is_good else 422)


@router.post("/trials/add/{token}")
def confirmed(
    token: str,
    session: SessionDep,
    reading: ReadSessionDep,
    area: StagingDep,
    render: RenderDep,
    form: TypedFormDep,
) -> Response:
    """Stores the trial and everything new that it needs, or nothing. Sent again, it answers with the same trial."""
    trial_id = stored_before(reading, token, form)
    if trial_id is None:
        upload = staged_upload(area, token)
        trial_id = store_staged(session, reading, area, upload, form)
    if trial_id is not None:
        # after the response, so after the commit: if the commit fails, the file stays staged
        done = BackgroundTask(discard_upload, area, token)
        return RedirectResponse(f"/trials/{trial_id}", 303, background=done)
    # if the bench was changed meanwhile, only the writing session sees its current state
    page = read_preview(session if form.error("shown") else reading, area, upload, form)
    return render(TEMPLATE, page, charts=page.has_chart, status_code=422)


@router.post("/trials/add/{token}/discard")
def upload_discarded(token: str, area: StagingDep) -> Response:
    """Discards the staged file; nothing was stored."""
    discard_upload(area, token)
    return RedirectResponse("/trials/add", 303)


def with_last_conditions(form: TypedForm, form_options: TrialFormOptions) -> TypedForm:
    """The form with the conditions of the last trial as defaults, because most trials use the same room."""
    if {"kind", "room_id", "logger_id"} <= form.values.keys():  # the form of the preview was sent
        return form
    filled_in = {
        "kind": "unit running",
        "unit_under_test_id": form_options.last_unit_id,
        "setting": form_options.last_setting,
        "room_id": form_options.last_room_id,
        "logger_id": form_options.last_logger_id,
        "smoke_source_id": form_options.last_smoke_source_id,
        "tested_by": form_options.last_tested_by,
        "kind_of_cleaning": USUAL_KIND,
    }
    if not form_options.units:
        filled_in["unit_under_test_id"] = NEW
    if not form_options.rooms:
        filled_in["room_id"] = NEW
    if form.text("unit_under_test_id") not in ("", str(filled_in["unit_under_test_id"])):
        filled_in["setting"] = ""  # it was a setting of another unit
    for name, value in filled_in.items():
        if value:
            form.values.setdefault(name, [str(value)])
    return form


def read_preview(session: Session, area: StagingArea, upload: StagedUpload, form: TypedForm) -> PreviewPage:
    """Reads and analyses the file; an error is shown on the page with every choice."""
    form_options = trial_form_options(session)
    preview, refusal = None, None
    try:
        preview = analysed_log(session, area, upload, form, form_options.timezone)
    except UnreadableLog as error:
        refusal = error
        form.add_error("log", error.message)
    except HazefallError as error:
        form.add_error(error.field or "", error.message)
        name_marks_as_typed(form)
    table = preview.log.table if preview else None
    box = form.typed("box") or (table.box if table else None)
    beside = PreviewBeside(
        stored_as=trials_of_file(session, upload.sha256),
        header_from=_header_from(session, form),
        lines=raw_lines(area, upload, box, table.header_line if table else refused_header(refusal)),
        same_time=runs_at_that_time(session, upload, table, form),
        room_warnings=preview.room_warnings if preview else (),
    )
    return preview_page(upload, form, form_options, preview, refusal, beside)


def analysed_log(
    session: Session, area: StagingArea, upload: StagedUpload, form: TypedForm, bench_timezone: str
) -> "LogPreview":
    """The staged file read and analysed as the form says; an invalid mark is reported and replaced by a found one."""
    from app.services.adding_trials.preview import preview_log  # loaded when used: it needs pandas and scipy
    from app.services.adding_trials.staged_results import read_staged_log

    log = read_staged_log(area, upload, choices_of(form, _saved_choices(session, form), bench_timezone))
    if log.table.zone_assumed:  # shown in the form
        form.values |= {"timezone": [log.table.timezone], "assumed_timezone": [log.table.timezone]}
    timezone = log.table.timezone or bench_timezone
    marks = marks_of(form, log.table.started_at, timezone)
    try:
        check_marks(marks, float(log.table.elapsed_s[-1]))
    except InvalidValue as error:
        form.add_error(error.field or "", error.message)
        name_marks_as_typed(form)
        marks = TrialMarks()
    trial = NewTrial(
        kind=form.typed("kind", UNIT_RUNNING),
        room_id=_chosen_id(form, "room_id") or 0,
        logger_id=_chosen_id(form, "logger_id"),
        smoke_source_id=_chosen_id(form, "smoke_source_id"),
        started_at=started_at_of(TypedForm(form.values), timezone),
        marks=marks,
    )
    return preview_log(session, log, trial, new_logger_of(form))


def stored_before(session: Session, token: str, form: TypedForm) -> int | None:
    """The trial that this form was stored as before; raises UploadRepeated if that was with other entries."""
    return trial_of_key(session, _key_of(token), digest_of_upload(b"", form.values))


def _key_of(token: str) -> str:
    return f"form {token}"


def store_staged(
    session: Session, reading: Session, area: StagingArea, upload: StagedUpload, form: TypedForm
) -> int | None:
    """Stores the trial of a staged file as the form says; None, with the errors in the form, if it cannot be stored."""
    from app.services.adding_trials.add import add_read_trial  # loaded when used: it needs pandas and scipy
    from app.services.adding_trials.preview import check_as_shown
    from app.services.adding_trials.staged_results import read_staged_log

    log = None
    bench_timezone = trial_form_options(reading).timezone
    try:
        # before the first statement of the writing session, so that other writers need not wait for the reading
        choices = choices_of(form, _saved_choices(reading, form), bench_timezone)
        log = read_staged_log(area, upload, choices)
        content = staged_content(area, upload)
    except HazefallError as error:
        form.add_error(error.field or "", error.message)
    table = log.table if log else None
    timezone = (table.timezone if table else "") or bench_timezone
    if log is not None and form.is_good:
        marks = marks_of(form, log.table.started_at, timezone)
        with form.attempt(session):
            form.stop_if_errors()
            if (before := stored_before(session, upload.token, form)) is not None:
                return before
            new = new_trial_of(session, form, marks, timezone)
            form.stop_if_errors()
            if form.text("profile_name"):
                _keep_profile(session, form, choices)
            trial_id = add_read_trial(session, content, log.table, new, choices, analyse=log.analyse)
            if "shown" in form.values:
                check_as_shown(session, log, trial_id, form.text("shown"))
            keep_key(session, _key_of(upload.token), digest_of_upload(b"", form.values), trial_id)
            return trial_id
        name_marks_as_typed(form)
    note_every_mistake(session, form, table, timezone)
    return None


def _chosen_id(form: TypedForm, name: str) -> int | None:
    text = form.text(name)
    return int(text) if text.isdecimal() and len(text) < 10 else None


def _keep_profile(session: Session, form: TypedForm, choices: ReadingChoices) -> None:
    """Saves the choices as a profile, without a zone that was only assumed from the bench."""
    save_profile(
        session,
        form.text("profile_name"),
        choices,
        who=form.text("tested_by"),
        may_replace=user_may("edit"),
    )


def _saved_choices(session: Session, form: TypedForm) -> ReadingChoices | None:
    profile_id = form.whole_number("profile_id", "The profile")
    return None if profile_id is None else load_profile(session, profile_id)


def _header_from(session: Session, form: TypedForm) -> str:
    if form.text("header_line"):
        return "as you chose" if form.text("header_line") != DETECTED else "as detected"
    saved = _saved_choices(session, form)
    return "as in the logger profile" if saved and saved.header_line else "as detected"
