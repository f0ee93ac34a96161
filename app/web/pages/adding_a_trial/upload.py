"""First step of adding a trial: the log is uploaded and staged; nothing is stored yet."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import BinaryIO

from fastapi import Request
from sqlalchemy.orm import Session
from starlette.responses import RedirectResponse, Response

from app.errors import HazefallError
from app.services.adding_trials.staged_uploads import stage_upload
from app.services.bench.form_options import trial_form_options
from app.services.bench.time_zones import zone_names
from app.services.logs.trial_kinds import EMPTY_ROOM, UNIT_RUNNING
from app.web.dependencies import RenderDep, SessionDep
from app.web.forms.addresses import address, query_form
from app.web.forms.staging import StagingDep
from app.web.forms.typed_form import MOST_FILES, TypedForm, TypedFormDep
from app.web.pages.adding_a_trial.batch import BATCH
from app.web.routers import page_router
from app.web.templating.page_context import Choice

router = page_router()

_PIECE = 1 << 20
FILLED_IN = ("kind", "unit_under_test_id", "setting", "room_id")  # conditions that a link to the form may state


@dataclass(frozen=True, slots=True)
class UploadPage:
    form: TypedForm
    profiles: Sequence[Choice]
    zones: Sequence[str]
    bench_timezone: str
    filled_in: Sequence[tuple[str, str]]
    run_words: str


@router.get("/trials/add")
def upload_form(request: Request, session: SessionDep, render: RenderDep) -> Response:
    """The form; a link may say which run it is for, and the preview then has these fields filled in."""
    form = query_form(request.query_params)
    form.one_of("kind", "The trial type", (UNIT_RUNNING, EMPTY_ROOM))
    return render("pages/adding_a_trial/upload.html", _page(session, form), status_code=200 if form.is_good else 422)


@router.post("/trials/add")
def uploaded(session: SessionDep, area: StagingDep, render: RenderDep, form: TypedFormDep) -> Response:
    """Stages the files and redirects to the preview, of several files to their table. It does not use the store, so
    no writer has to wait.
    """
    files = [file for file in (form.files.get("log"), *form.further_files) if file is not None and file.filename]
    if not files:
        form.add_error("log", "No file selected. Choose the logger's file.")
    elif len(files) > MOST_FILES:
        form.add_error("log", f"{len(files)} files were sent; at most {MOST_FILES} fit into one table. Send fewer.")
    else:
        try:
            tokens = [stage_upload(area, _pieces(file.file), file.filename or "log").token for file in files]
            choices = {name: form.values.get(name, []) for name in ("profile_id", "timezone", *FILLED_IN)}
            if len(tokens) > 1:
                return RedirectResponse(address(BATCH, choices, token=tokens), 303)
            return RedirectResponse(address(f"/trials/add/{tokens[0]}", choices), 303)
        except HazefallError as error:
            form.add_error("log", error.message)
    return render("pages/adding_a_trial/upload.html", _page(session, form), status_code=422)


def _pieces(file: BinaryIO) -> Iterator[bytes]:
    while piece := file.read(_PIECE):
        yield piece


def _page(session: Session, form: TypedForm) -> UploadPage:
    form_options = trial_form_options(session)
    chosen = form.typed("profile_id")
    kept = tuple(Choice(str(offer.id), offer.words, str(offer.id) == chosen) for offer in form_options.profiles)
    profiles = (Choice("", "detect automatically", not chosen), *kept) if kept else ()
    filled_in = [(name, form.typed(name)) for name in FILLED_IN if form.typed(name)]
    run_words = _run_words(form, {str(offer.id): offer.words for offer in form_options.units})
    return UploadPage(form, profiles, zone_names(), form_options.timezone, filled_in, run_words)


def _run_words(form: TypedForm, units: Mapping[str, str]) -> str:
    """Which run the form is for, where a link said so."""
    if form.typed("kind") == EMPTY_ROOM:
        return "an empty-room run"
    unit = units.get(form.typed("unit_under_test_id"), "")
    at = f" at “{form.typed('setting')}”" if unit and form.typed("setting") else ""
    return f"a run of {unit}{at}" if unit else "a run with the unit on"
