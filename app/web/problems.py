"""Turns errors into responses: RFC 9457 problem documents below /api, pages elsewhere."""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from http import HTTPStatus
from typing import Any

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from sqlalchemy.exc import DataError, DBAPIError, SQLAlchemyError
from sqlalchemy.orm import Session
from starlette.exceptions import HTTPException
from starlette.responses import JSONResponse, Response
from starlette.types import Scope

from app.errors import Busy, HazefallError, InvalidValue, UnreadableLog
from app.services.store.problems import file_problem_from, store_problem_for_readers
from app.web.current_user import current_user
from app.web.templating.environment import render_page
from app.web.templating.headers import SECURITY_HEADERS
from app.web.templating.page_context import Shell, make_shell, read_shell

TOO_LARGE = "The upload is too large. Nothing was saved. Send a shorter log, or raise HAZEFALL_MAX_UPLOAD_BYTES."
TOO_LONG = (
    "The request body is too long for a form or JSON document. Nothing was saved. Send a file as "
    "multipart/form-data, or send less at once."
)
_WORDS = {
    400: "The request body cannot be read: it is incomplete, does not match its content type or UTF-8, or has too many "
    "fields or a field above 1 MB. Nothing was saved. Correct it and send it again.",
    403: "This is not allowed from here. Open the page on this site and try again.",
    404: "Page not found. Choose a page from the navigation.",
    405: "This URL does not accept that request method. Go back and use the form or link on the page.",
    413: TOO_LARGE,
    500: "Internal error. This request saved nothing. See the server log for details.",
}
_NO_STORE_HOLDS = (
    "The request contains a value that cannot be stored: an id out of range, or a NUL character. Nothing was saved. "
    "Correct it and send it again."
)
_FOR_SCRIPTS = ("/api/", "/charts/", "/figures/", "/tables/")

# What a value needs, by pydantic's error type.
_NEEDED = {
    "float_parsing": "a number such as 12.5",
    "float_type": "a number such as 12.5",
    "finite_number": "a finite number",
    "int_parsing": "a whole number",
    "int_type": "a whole number",
    "int_from_float": "a whole number",
    "bool_parsing": "true or false",
    "date_parsing": "a date such as 2026-03-31",
    "date_from_datetime_parsing": "a date such as 2026-03-31",
    "date_from_datetime_inexact": "a date without a time, such as 2026-03-31",
    "datetime_parsing": "a time such as 2026-03-31T10:00:00Z",
    "datetime_from_date_parsing": "a time such as 2026-03-31T10:00:00Z",
    "greater_than": "a number above {gt}",
    "greater_than_equal": "a number of {ge} or more",
    "less_than": "a number below {lt}",
    "less_than_equal": "a number of {le} or less",
    "string_too_short": "at least {min_length} characters",
    "string_too_long": "at most {max_length} characters",
    "literal_error": "one of {expected}",
    "string_type": "a text",
    "list_type": "a list",
    "dict_type": "an object with fields of its own",
    "model_type": "an object with fields of its own",
    "model_attributes_type": "an object with fields of its own",
}


@dataclass(frozen=True, slots=True)
class FieldMistake:
    """An invalid value: its field, and what is wrong."""

    field: str
    message: str


@dataclass(frozen=True, slots=True)
class Problem:
    """One problem: `kind` names it for scripts, `detail` says what to do."""

    status: int
    kind: str
    title: str
    detail: str
    errors: tuple[FieldMistake, ...] = ()
    file_name: str = ""
    line: int | None = None
    text: str | None = None


def answer_errors(app: FastAPI) -> None:
    """Registers the handler of each error family."""
    app.add_exception_handler(HazefallError, _own_error)
    app.add_exception_handler(RequestValidationError, _wrong_request)
    app.add_exception_handler(HTTPException, _http_error)
    app.add_exception_handler(OSError, _file_error)
    app.add_exception_handler(DBAPIError, _store_error)
    app.add_exception_handler(DataError, _value_of_no_store)
    app.add_exception_handler(Exception, _mistake_of_ours)


# HTTP errors by kind: status and meaning.
HTTP_KINDS = {
    "bad-request": (400, "The request body cannot be read."),
    "not-found": (404, "Not found."),
    "method-not-allowed": (405, "Method not allowed; see the Allow header."),
    "refused": (403, "The request came from another site, or names a host that is not this bench."),
    "too-slow": (408, "The request body arrived too slowly."),
    "too-many-uploads": (429, "Too many uploads from one address at the same time."),
    "content-too-large": (413, "The request body is too large."),
    "mistake-of-the-program": (500, "Internal error; see the server log."),
}


def kind_of(family: type[HazefallError]) -> str:
    """Name of an error for scripts, such as `unreadable-log`."""
    return re.sub(r"(?<!^)(?=[A-Z])", "-", family.__name__).lower()


def problem_of(error: HazefallError) -> Problem:
    """The problem document of one of our own errors."""
    kind = kind_of(type(error))
    mistakes = (FieldMistake(error.field, error.message),) if error.field else ()
    place = (error.file_name, error.line, error.text) if isinstance(error, UnreadableLog) else ("", None, None)
    return Problem(error.status, kind, error.title, error.message, mistakes, *place)


_REFUSALS = {408: "too-slow", 413: "content-too-large", 429: "too-many-uploads"}


def refuse(scope: Scope, status: int, detail: str) -> Response:
    """Response of middleware, which runs in front of the application and has no session."""
    return _answer(
        Request(scope),
        Problem(status, _REFUSALS.get(status, "refused"), HTTPStatus(status).phrase, detail),
        with_store=False,
    )


def _own_error(request: Request, error: Exception) -> Response:
    assert isinstance(error, HazefallError)
    response = _answer(request, problem_of(error))
    if isinstance(error, Busy):
        response.headers["Retry-After"] = str(error.retry_after_s)
    return response


def _file_error(request: Request, error: Exception) -> Response:
    """Full disk while an upload is staged; anything else is a bug."""
    assert isinstance(error, OSError)
    problem = file_problem_from(error)
    if problem is None:
        raise error
    return _answer(request, problem_of(problem))


def _store_error(request: Request, error: Exception) -> Response:
    """A store that is locked, full, read-only, damaged or gone; anything else is a bug."""
    problem = store_problem_for_readers(error)
    if problem is None:
        raise error
    return _answer(request, problem_of(problem))


def _value_of_no_store(request: Request, error: Exception) -> Response:
    """A value that a database server rejects and SQLite would accept, such as an integer of more than four bytes."""
    assert isinstance(error, DataError)
    return _answer(request, problem_of(InvalidValue(_NO_STORE_HOLDS)))


def _wrong_request(request: Request, error: Exception) -> Response:
    assert isinstance(error, RequestValidationError)
    mistakes = field_mistakes(error.errors())
    detail = "; ".join(f"{mistake.field}: {mistake.message}" for mistake in mistakes) or "The request is empty."
    return _answer(request, Problem(422, "invalid-value", "Invalid value", detail, mistakes))


def field_mistakes(errors: Sequence[Any]) -> tuple[FieldMistake, ...]:
    """Pydantic's errors as fields, each with a sentence on what was found and what is needed."""
    return tuple(
        FieldMistake(
            "body" if error["type"] == "json_invalid" else _field_of(error["loc"]),
            _sentence(error),
        )
        for error in errors
    )


def _field_of(place: Sequence[Any]) -> str:
    return ".".join(str(part) for part in place if part not in ("body", "query", "path", "form")) or "body"


def _sentence(error: Any) -> str:
    kind, limits, found = error["type"], error.get("ctx", {}), error.get("input")
    if kind == "missing" or (found is None and kind != "value_error"):
        return "This field is required."
    if kind == "json_invalid":
        return f"This is not JSON ({limits.get('error', 'it cannot be read')}). Send an object such as {{}}."
    if kind == "extra_forbidden":
        return "Unknown field. Check the spelling."
    if kind in _NEEDED:
        needed = "Needed: " + _NEEDED[kind].format(**limits)
    else:
        needed = str(error["msg"]).removeprefix("Value error, ")
    if kind == "value_error":  # our own sentence, which already says what was found
        return needed
    shown = f"Found {str(found)[:80]!r}. " if isinstance(found, str | int | float) else ""
    return f"{shown}{needed.rstrip('.')}."


def _http_error(request: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException)
    phrase = HTTPStatus(error.status_code).phrase
    detail = error.detail if error.detail not in ("", phrase) else ""
    if error.status_code in (400, 404, 405) or not detail:
        detail = _WORDS.get(error.status_code, phrase)
    kind = _REFUSALS.get(error.status_code, phrase.lower().replace(" ", "-"))
    response = _answer(request, Problem(error.status_code, kind, phrase, detail))
    response.headers.update(error.headers or {})
    return response


def _mistake_of_ours(request: Request, error: Exception) -> Response:
    # Starlette handles this outside the middleware and raises it again, so the server log has the traceback.
    problem = Problem(500, "mistake-of-the-program", "Something went wrong", _WORDS[500])
    response = _answer(request, problem, with_store=False)
    response.headers.update(SECURITY_HEADERS)
    return response


def _answer(request: Request, problem: Problem, *, with_store: bool = True) -> Response:
    if _is_for_scripts(request.url.path):
        return JSONResponse(_document(request, problem), problem.status, media_type="application/problem+json")
    # who has not been let in learns nothing of the bench, not even its name
    shows_bench = with_store and problem.status != 503 and current_user() is not None
    shell = _shell_of_bench(request) if shows_bench else make_shell(request.url.path)
    return render_page("pages/problem.html", problem, shell, status_code=problem.status)


def _is_for_scripts(path: str) -> bool:
    """URLs for scripts: the API and downloads; for those an HTML page would be of no use."""
    return path.startswith(_FOR_SCRIPTS) or path in ("/api", "/api/") or path.endswith(".json")


def _shell_of_bench(request: Request) -> Shell:
    try:  # show the error page even if the bench's name cannot be read
        with Session(request.state["engine"]) as session:
            return read_shell(session, request.url.path)
    except (SQLAlchemyError, KeyError):
        return make_shell(request.url.path)


def _document(request: Request, problem: Problem) -> dict[str, Any]:
    document: dict[str, Any] = {
        "type": f"/api/problems/{problem.kind}",
        "title": problem.title,
        "status": problem.status,
        "detail": problem.detail,
        "instance": request.url.path,
    }
    if problem.errors:
        document["errors"] = [{"field": mistake.field, "message": mistake.message} for mistake in problem.errors]
    if problem.file_name:
        document["file_name"] = problem.file_name
    if problem.line is not None:
        document["line"] = problem.line
    if problem.text is not None:
        document["text"] = problem.text
    return document
