"""Checks of loggers: adding one from two or more logs, and the stored results."""

from datetime import date
from typing import Annotated, Any

from fastapi import Form, Query, UploadFile
from pydantic import Field
from sqlalchemy.orm import Session

from app.errors import InvalidValue
from app.services.adding_trials.staged_uploads import plain_file_name
from app.services.bench.loggers import find_logger
from app.services.logs.logger_checks.definitions import NewLoggerCheck
from app.services.store.checked_values import LONGEST_NAME
from app.services.store.entry_fields import stored_values
from app.web.api.derived import answer, body
from app.web.api.shapes import (
    LARGEST_ID,
    FromStore,
    Id,
    MeasuredShape,
    OfBench,
    RequestBody,
    measured_from_parts,
    of_bench,
    problem_answers,
)
from app.web.dependencies import ReadSessionDep, SessionDep
from app.web.routers import api_router

router = api_router("loggers")

_Name = Annotated[str, Field(max_length=LONGEST_NAME)]
_Number = Annotated[int, Field(ge=1, le=LARGEST_ID)]


@body(NewLoggerCheck)
class LoggerCheckForm(RequestBody):
    """A check of loggers in the same air, or of one logger in clean air.

    loggers : names of the loggers, the reference first; in clean air there is no reference
    logs : their files, in the same order
    log_ids : in place of files, ids of stored logs in the same order
    """

    loggers: list[_Name] = Field(max_length=10, examples=[["Logger A", "Logger B"]])
    logs: list[UploadFile] = Field(default=[], max_length=10)
    log_ids: list[_Number] = Field(default=[], max_length=10)


@answer(NewLoggerCheck)
class LoggerCheckShape(FromStore):
    """A check with its result; a quantity is null where the type of check does not give it.

    slope, intercept : of the logger against the reference, by errors-in-variables
    curvature : quadratic term per unit of the channel; departure_pct : from a straight line, in % of the range
    detection_limit : three standard deviations in clean air, with the ends of its 95 % interval
    result_notes : one sentence a line
    """

    id: int
    logger_id: int
    reference_logger_id: int | None
    log_id: int
    reference_log_id: int | None
    unit: str
    checked_on: date
    clock_offset_s: float | None
    clock_offset_uncertainty_s: float | None
    averaging_s: float | None
    means: int | None
    highest_level: float | None
    slope: MeasuredShape | None
    intercept: MeasuredShape | None
    curvature: MeasuredShape | None
    zero_level: MeasuredShape | None
    departure_pct: float | None
    r_squared: float | None
    rmse: float | None
    nrmse_pct: float | None
    loggers_together: int | None
    precision_sd: float | None
    precision_cv_pct: float | None
    detection_limit: float | None
    detection_limit_low_95: float | None
    detection_limit_high_95: float | None
    settled_after_min: float | None
    first_excess: float | None
    saturated_readings: int
    result_notes: str


class LoggerCheckList(OfBench):
    logger_checks: list[LoggerCheckShape]


@router.get("/logger-checks", responses=problem_answers(404))
def logger_checks(
    session: SessionDep, logger_id: Annotated[int | None, Query(ge=1, le=LARGEST_ID)] = None
) -> LoggerCheckList:
    """Checks of all loggers or of one, oldest first."""
    from app.services.logs.logger_checks.record import list_checks

    return _answer(session, list(list_checks(session, logger_id)))


@router.get("/logger-checks/{check_id}", responses=problem_answers(404))
def logger_check(check_id: Id, session: SessionDep) -> LoggerCheckList:
    """One check, as a list of one."""
    from app.services.logs.logger_checks.record import get_check

    return _answer(session, [get_check(session, check_id)])


@router.post("/logger-checks", status_code=201, responses=problem_answers(400, 404, 409, 413))
def logger_check_added(
    session: SessionDep,
    reading: ReadSessionDep,
    form: Annotated[LoggerCheckForm, Form(media_type="multipart/form-data")],
) -> LoggerCheckList:
    """Compares the loggers and stores one check for each of them but the reference; logs that cannot be compared
    answer 422 with the reason, and nothing is stored.
    """
    from app.services.logs.logger_checks.add import FileOfLogger, add_logger_checks  # loaded when used: it needs scipy
    from app.services.logs.logger_checks.compare import LogOfLogger
    from app.services.logs.logger_checks.files import file_of_logger
    from app.services.logs.logger_checks.record import get_check
    from app.services.results.trial_results import checks_change

    number = len(form.log_ids) or len(form.logs)
    if number != len(form.loggers) or (form.log_ids and form.logs):
        raise InvalidValue(
            f"There are {len(form.loggers)} loggers, {len(form.logs)} files and {len(form.log_ids)} log ids. Send one "
            "file, or one log id, for each logger.",
            field="loggers",
        )
    ids = [_logger_id(reading, name) for name in form.loggers]
    logs: list[LogOfLogger | FileOfLogger] = []
    for place, logger_id in enumerate(ids):
        if form.log_ids:
            logs.append(LogOfLogger(logger_id, form.log_ids[place]))
        else:
            log = form.logs[place]
            logs.append(file_of_logger(reading, logger_id, log.file.read(), plain_file_name(log.filename or "log")))
    new = NewLoggerCheck(**stored_values(NewLoggerCheck, form))
    with checks_change(session, who=new.checked_by, why="a logger was checked"):
        added = add_logger_checks(session, new, logs, who=new.checked_by)
    return _answer(session, [get_check(session, check_id) for check_id in added])


def _logger_id(reading: Session, name: str) -> int:
    found = find_logger(reading, name)
    if found is None:
        raise InvalidValue(
            f"There is no logger {name!r} on the bench. Correct the name, or add it first with the page /loggers/add.",
            field="loggers",
        )
    return found


def _answer(session: Session, rows: list[Any]) -> LoggerCheckList:
    return LoggerCheckList(logger_checks=[_shape(row) for row in rows], **of_bench(session))


def _shape(row: Any) -> LoggerCheckShape:
    measured = {
        name: measured_from_parts(
            *(getattr(row, f"{name}{ending}") for ending in ("", "_uncertainty", "_low_95", "_high_95"))
        )
        for name in ("slope", "intercept", "curvature", "zero_level")
    }
    return LoggerCheckShape.of(row, **measured)
