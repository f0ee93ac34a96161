"""Loggers: the list, and the form that adds or changes one."""

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any

from starlette.responses import RedirectResponse, Response

from app.services.bench.definitions import NewLogger
from app.services.bench.loggers import add_logger, change_logger, get_logger
from app.services.history.change_history import ChangeFilter, DescribedChange, change_history, described_changes
from app.services.logs.logger_profiles import list_profiles
from app.services.units.cursor_lists import list_loggers
from app.web.api.shapes import Id
from app.web.dependencies import RenderDep, SessionDep
from app.web.forms.typed_form import TypedForm, TypedFormDep, empty_form, filled_form
from app.web.progress_board import KEY_FIELD, ProgressBoardDep
from app.web.routers import page_router
from app.web.templating.page_context import Choice

router = page_router()


@dataclass(frozen=True, slots=True)
class LoggerList:
    """`changes` are those of the profiles, which have no page of their own."""

    loggers: Sequence[Any]
    profiles: Sequence[Any]
    changes: Sequence[DescribedChange]


@dataclass(frozen=True, slots=True)
class LoggerForm:
    """`profiles` are the options for reading the logger's files; empty without saved profiles."""

    title: str
    form: TypedForm
    profiles: Sequence[Choice]
    is_change: bool = False
    changes: Sequence[DescribedChange] = ()


@router.get("/loggers")
def loggers(session: SessionDep, render: RenderDep) -> Response:
    changes = described_changes(session, wanted=ChangeFilter(subject="logger profile")).rows
    return render("pages/bench/loggers.html", LoggerList(list_loggers(session).rows, list_profiles(session), changes))


@router.get("/loggers/add")
def logger_to_add(session: SessionDep, render: RenderDep) -> Response:
    return render("pages/bench/logger_form.html", _adding(session, empty_form()))


@router.post("/loggers/add")
def logger_added(session: SessionDep, render: RenderDep, form: TypedFormDep) -> Response:
    new = _entered(form)
    if new is not None:
        with form.attempt(session):
            add_logger(session, new, who=form.text("who"))
            return RedirectResponse("/loggers", 303)
    return render("pages/bench/logger_form.html", _adding(session, form), status_code=422)


@router.get("/loggers/{logger_id}/edit")
def logger_to_change(logger_id: Id, session: SessionDep, render: RenderDep) -> Response:
    logger = get_logger(session, logger_id)
    form = filled_form(NewLogger, logger, profile_id=logger.profile_id)
    return render("pages/bench/logger_form.html", _changing(session, logger.name, logger_id, form))


@router.post("/loggers/{logger_id}/edit")
def logger_changed(
    logger_id: Id, session: SessionDep, render: RenderDep, form: TypedFormDep, board: ProgressBoardDep
) -> Response:
    name = get_logger(session, logger_id).name
    new = _entered(form)
    if new is not None:
        who, why = form.text("who"), form.text("why")
        with form.attempt(session), board.watched(form.text(KEY_FIELD)) as on_progress:
            change_logger(session, logger_id, asdict(new), who=who, why=why, on_progress=on_progress)
            return RedirectResponse("/loggers", 303)
    return render("pages/bench/logger_form.html", _changing(session, name, logger_id, form), status_code=422)


def profile_choices(session: SessionDep, chosen: str) -> tuple[Choice, ...]:
    """The saved profiles, after an option for none; empty without saved profiles."""
    kept = tuple(Choice(str(p.id), p.name, str(p.id) == chosen) for p in list_profiles(session))
    return (Choice("", "detect automatically", not chosen), *kept) if kept else ()


def _entered(form: TypedForm) -> NewLogger | None:
    return form.entry(NewLogger, profile_id=form.whole_number("profile_id", "The profile"))


def _adding(session: SessionDep, form: TypedForm) -> LoggerForm:
    return LoggerForm("Add a logger", form, profile_choices(session, form.typed("profile_id")))


def _changing(session: SessionDep, name: str, logger_id: int, form: TypedForm) -> LoggerForm:
    profiles = profile_choices(session, form.typed("profile_id"))
    return LoggerForm(f"Edit logger {name}", form, profiles, True, change_history(session, "logger", logger_id))
