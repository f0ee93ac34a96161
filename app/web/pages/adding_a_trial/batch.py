"""Several uploaded logs in one table: a line for each, what they share below, and one button that stores them."""

from collections.abc import Sequence
from dataclasses import dataclass

from fastapi import Request
from sqlalchemy.orm import Session
from starlette.background import BackgroundTask
from starlette.responses import RedirectResponse, Response

from app.compute.wording.numbers import counted
from app.errors import NotFound
from app.services.adding_trials.staged_uploads import StagedUpload, StagingArea, discard_upload, staged_upload
from app.services.bench.form_options import TrialFormOptions, trial_form_options
from app.services.logs.trial_kinds import UNIT_RUNNING
from app.web.dependencies import ReadSessionDep, RenderDep, SessionDep
from app.web.forms.addresses import query_form
from app.web.forms.options import filter_options
from app.web.forms.staging import StagingDep
from app.web.forms.typed_form import MOST_FILES, TypedForm, TypedFormDep
from app.web.pages.adding_a_trial.fields import kinds_of_trial
from app.web.pages.adding_a_trial.preview import read_preview, store_staged, stored_before, with_last_conditions
from app.web.pages.adding_a_trial.preview_view import PreviewPage
from app.web.pages.adding_a_trial.same_time import ADVICE, files_at_that_time, run_time
from app.web.routers import page_router
from app.web.templating.page_context import Choice

router = page_router()
BATCH = "/trials/add/batch"
TEMPLATE = "pages/adding_a_trial/batch.html"
_SHARED = ("room_id", "logger_id", "smoke_source_id", "tested_by", "setting_is_new", "profile_id", "timezone")
_OF_LINE = ("kind", "unit_under_test_id", "setting")


@dataclass(frozen=True, slots=True)
class BatchLine:
    """One file: its token, what was read, and its fields; `errors` are those of this line, and `same_time` says which
    other runs were logged in the room at that time.
    """

    token: str
    file_name: str
    preview_address: str
    verdict: str
    is_trial: bool
    is_kept: bool
    kinds: Sequence[Choice]
    units: Sequence[Choice]
    setting: str
    errors: Sequence[str]
    same_time: Sequence[str]


@dataclass(frozen=True, slots=True)
class BatchPage:
    """Context of the table."""

    title: str
    lines: Sequence[BatchLine]
    form: TypedForm
    saved: Sequence[int]
    missing: int
    rooms: Sequence[Choice]
    loggers: Sequence[Choice]
    smoke_sources: Sequence[Choice]
    setting_names: Sequence[str]
    advice: str
    hidden: Sequence[tuple[str, str]]


@router.get(BATCH)
def batch(request: Request, session: SessionDep, area: StagingDep, render: RenderDep) -> Response:
    form = with_last_conditions(query_form(request.query_params), trial_form_options(session))
    return render(TEMPLATE, _page(session, area, form, _uploads(area, form)))


@router.post(BATCH)
def batch_confirmed(
    session: SessionDep, reading: ReadSessionDep, area: StagingDep, render: RenderDep, form: TypedFormDep
) -> Response:
    """Stores each ticked line that can be stored, and shows the others again with their errors."""
    uploads, saved, failed = _uploads(area, form), [], {}
    for upload in uploads:
        if not form.ticked(f"keep_{upload.token}"):
            continue
        line = form_of_line(form, upload.token)
        if store_staged(session, reading, area, upload, line) is None:
            failed[upload.token] = line
        else:
            saved.append(upload)
    done = BackgroundTask(_discard_all, area, [upload.token for upload in saved])
    before = _stored_before(reading, form, uploads)
    if not failed and (saved or before):
        return RedirectResponse("/trials", 303, background=done)
    if not (saved or before or failed):
        form.add_error("", "No file is ticked. Tick the files to save.")
    left = [upload for upload in uploads if upload not in saved]
    page = _page(session, area, form, left, failed, len(saved) + len(before))
    answer = render(TEMPLATE, page, status_code=422)
    answer.background = done
    return answer


def _stored_before(session: Session, form: TypedForm, uploads: Sequence[StagedUpload]) -> list[str]:
    """Ticked lines whose file waits no longer because the same form stored them before."""
    waiting = {upload.token for upload in uploads}
    sent = [token for token in _tokens(form) if token not in waiting and form.ticked(f"keep_{token}")]
    return [token for token in sent if stored_before(session, token, form_of_line(form, token)) is not None]


def _tokens(form: TypedForm) -> list[str]:
    return list(dict.fromkeys(form.values.get("token", [])))


def _discard_all(area: StagingArea, tokens: Sequence[str]) -> None:
    for token in tokens:
        discard_upload(area, token)


def form_of_line(form: TypedForm, token: str) -> TypedForm:
    """The form of one trial: the shared fields, and those of its line."""
    values = {name: form.values[name] for name in _SHARED if name in form.values}
    values |= {name: form.values[f"{name}_{token}"] for name in _OF_LINE if f"{name}_{token}" in form.values}
    return TypedForm({"kind": [UNIT_RUNNING]} | values)


def _uploads(area: StagingArea, form: TypedForm) -> list[StagedUpload]:
    """The staged files that are still there."""
    found = []
    for token in _tokens(form)[:MOST_FILES]:
        try:
            found.append(staged_upload(area, token))
        except NotFound:
            continue
    return found


def _page(
    session: Session,
    area: StagingArea,
    form: TypedForm,
    uploads: Sequence[StagedUpload],
    failed: dict[str, TypedForm] | None = None,
    saved: int = 0,
) -> BatchPage:
    options = trial_form_options(session)
    read = [_read(session, area, form, upload) for upload in uploads]
    runs = [run_time(upload, page.table, page.form) for upload, page in zip(uploads, read, strict=True)]
    lines = [
        _line(form, upload, page, options, (failed or {}).get(upload.token), files_at_that_time(run, runs))
        for upload, page, run in zip(uploads, read, runs, strict=True)
    ]
    asked = len(_tokens(form))
    return BatchPage(
        title=counted(len(lines), "file"),
        lines=lines,
        form=form,
        saved=range(saved),
        missing=max(asked - len(uploads) - saved, 0),
        rooms=filter_options(options.rooms, form.typed("room_id"), "choose one"),
        loggers=filter_options(options.loggers, form.typed("logger_id"), "not specified"),
        smoke_sources=filter_options(options.smoke_sources, form.typed("smoke_source_id"), "not specified"),
        setting_names=options.setting_names,
        advice=ADVICE if any(line.same_time for line in lines) else "",
        hidden=[(name, text) for name in ("profile_id", "timezone") for text in form.values.get(name, ()) if text],
    )


def _read(session: Session, area: StagingArea, form: TypedForm, upload: StagedUpload) -> PreviewPage:
    own = form_of_line(form, upload.token)
    for name in _OF_LINE:  # where the line was not sent yet: as in the last trial
        if f"{name}_{upload.token}" not in form.values and name in form.values:
            own.values[name] = form.values[name]
    return read_preview(session, area, upload, own)


def _line(
    form: TypedForm,
    upload: StagedUpload,
    page: PreviewPage,
    options: TrialFormOptions,
    failed: TypedForm | None,
    same_time: Sequence[str],
) -> BatchLine:
    token, own = upload.token, page.form
    is_trial = bool(page.decays) and not page.beside.stored_as
    return BatchLine(
        token=token,
        file_name=upload.file_name,
        preview_address=f"/trials/add/{token}",
        verdict=verdict_of_file(page),
        is_trial=bool(page.decays),
        is_kept=form.ticked(f"keep_{token}") if "sent" in form.values else is_trial,
        kinds=[Choice(value, words, value == own.typed("kind")) for value, words in kinds_of_trial()],
        units=filter_options(options.units, own.typed("unit_under_test_id"), "none"),
        setting=own.typed("setting"),
        errors=failed.problems if failed else (),
        same_time=[*page.beside.same_time, *same_time],
    )


def verdict_of_file(page: PreviewPage) -> str:
    """What was read of a file, and the verdict on its first channel, in some sentences."""
    if page.table is None:
        return " ".join(page.form.problems) or "The file could not be read."
    if not page.decays:
        return page.other_use.words if page.other_use else f"{page.readings}; no channel to analyse."
    first = page.decays[0]
    words = f"{page.readings}. {first.verdict.heading}"
    if first.total_decay is not None:
        words += f" Total decay {first.total_decay.value} per hour ({first.total_decay.interval})."
    elif first.verdict.reasons:
        words += f" {first.verdict.reasons[0]}"
    if page.beside.stored_as:
        words += f" Already stored as trial {page.beside.stored_as[0]}."
    return words
