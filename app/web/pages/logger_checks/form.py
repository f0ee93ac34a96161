"""The form of a check: loggers with their files, or logs that are stored already."""

from collections.abc import Sequence
from dataclasses import dataclass

from fastapi import Request
from sqlalchemy.orm import Session
from starlette.responses import RedirectResponse, Response

from app.errors import HazefallError
from app.services.adding_trials.staged_uploads import plain_file_name
from app.services.bench.form_options import logger_options
from app.services.logs.logger_checks.add import FileOfLogger, add_logger_checks
from app.services.logs.logger_checks.compare import LogOfLogger
from app.services.logs.logger_checks.definitions import NewLoggerCheck
from app.services.logs.logger_checks.drawing import logs_of_the_same_time
from app.services.logs.logger_checks.files import file_of_logger
from app.web.dependencies import ReadSessionDep, RenderDep, SessionDep
from app.web.forms.addresses import query_form
from app.web.forms.options import filter_options
from app.web.forms.typed_form import TypedForm, TypedFormDep
from app.web.routers import page_router
from app.web.templating.page_context import Choice

router = page_router()
TEMPLATE = "pages/logger_checks/form.html"
ROWS = 4


@dataclass(frozen=True, slots=True)
class LogRow:
    """One logger of the form; `stored` are logs of the same time as another one, none if there are no such logs."""

    number: int
    label: str
    loggers: Sequence[Choice]
    stored: Sequence[Choice]


@dataclass(frozen=True, slots=True)
class CheckFormPage:
    form: TypedForm
    rows: Sequence[LogRow]
    has_loggers: bool


@router.get("/logger-checks/add")
def check_form(request: Request, session: SessionDep, render: RenderDep) -> Response:
    return render(TEMPLATE, _page(session, query_form(request.query_params)))


@router.post("/logger-checks/add")
def check_added(session: SessionDep, reading: ReadSessionDep, render: RenderDep, form: TypedFormDep) -> Response:
    new = form.entry(NewLoggerCheck)
    logs = _logs(reading, form)
    if new is not None and form.is_good:
        from app.services.results.trial_results import checks_change  # loaded when used: it needs scipy

        with form.attempt(session):
            with checks_change(session, who=new.checked_by, why="a logger was checked"):
                ids = add_logger_checks(session, new, logs, who=new.checked_by)
            return RedirectResponse(f"/logger-checks/{ids[0]}", 303)
    return render(TEMPLATE, _page(session, form), status_code=422)


def _logs(reading: Session, form: TypedForm) -> list[LogOfLogger | FileOfLogger]:
    """The logs of the form; a row without file and stored log is left out."""
    found: list[LogOfLogger | FileOfLogger] = []
    for number in range(1, ROWS + 1):
        logger_id = form.whole_number(f"logger_{number}", "The logger")
        log_id = form.whole_number(f"log_{number}", "The log")
        file = form.files.get(f"file_{number}")
        if file is None or not file.filename:
            if log_id is None:
                continue
            if logger_id is not None:
                found.append(LogOfLogger(logger_id, log_id))
        elif logger_id is not None:
            try:
                found.append(file_of_logger(reading, logger_id, file.file.read(), plain_file_name(file.filename)))
            except HazefallError as error:
                form.add_error(f"file_{number}", f"{file.filename}: {error.message}")
        if logger_id is None:
            form.add_error(f"logger_{number}", "No logger selected for this log. Choose the one that wrote it.")
    return found


def _page(session: Session, form: TypedForm) -> CheckFormPage:
    loggers = logger_options(session)
    stored = logs_of_the_same_time(session)
    rows = [
        LogRow(
            number,
            "Reference logger" if number == 1 else f"Logger {number}",
            filter_options(loggers, form.typed(f"logger_{number}"), "none"),
            _stored_choices([(str(log.id), log.words) for log in stored], form.typed(f"log_{number}")),
        )
        for number in range(1, ROWS + 1)
    ]
    return CheckFormPage(form, rows, bool(loggers))


def _stored_choices(stored: Sequence[tuple[str, str]], chosen: str) -> list[Choice]:
    if not stored:
        return []
    return [Choice("", "none", not chosen), *(Choice(value, words, value == chosen) for value, words in stored)]
