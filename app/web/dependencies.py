"""Dependencies of route handlers: session, snapshot of the bench, settings, and page renderer."""

from collections.abc import AsyncIterator, Iterator
from contextlib import AbstractContextManager
from typing import Annotated, Any

from fastapi import Depends, Request
from sqlalchemy import Engine
from sqlalchemy.exc import DBAPIError, IntegrityError
from sqlalchemy.orm import Session
from starlette.responses import HTMLResponse

from app.errors import AlreadyStored
from app.services.snapshot.bench_snapshot import BenchSnapshot, current_snapshot
from app.services.store.audit import ACTING
from app.services.store.problems import store_problem_from
from app.settings import Settings
from app.storage.engine import session_scope
from app.web.current_user import signed_in_name
from app.web.templating.environment import Render, render_page
from app.web.templating.page_context import read_shell


async def write_lock(request: Request) -> AsyncIterator[None]:
    """Serialises writing requests in order of arrival, without occupying a thread while waiting.

    The request body has been received by then, so nobody waits for a slow client.
    """
    if not _changes(request):
        yield
        return
    async with request.state["write_lock"]:
        yield


def session(request: Request, _write_lock: Annotated[None, Depends(write_lock, scope="function")]) -> Iterator[Session]:
    """A session that commits when the handler returns, before the response is sent. Reading never waits for a
    writer.
    """
    try:
        with session_scope(request.state["engine"], writes=_changes(request)) as opened:
            opened.info[ACTING] = signed_in_name()  # recorded with every change
            yield opened
    except IntegrityError as error:
        if not any(words in str(error.orig).lower() for words in ("unique constraint", "duplicate key")):
            raise
        # two simultaneous requests, and the other was first
        raise AlreadyStored(
            "An item with this name already exists, perhaps just saved by another request. Nothing was saved; check "
            "the list and try again."
        ) from error
    except DBAPIError as error:  # locked, full, read-only, damaged: the message says which, and what to do
        problem = store_problem_from(error)
        if problem is None:
            raise
        raise problem from error


def _changes(request: Request) -> bool:
    return request.method not in ("GET", "HEAD", "OPTIONS")


def read_session(request: Request) -> Iterator[Session]:
    """A second, read-only session, for what a writing request needs before it takes the write lock."""
    with session_scope(request.state["engine"], writes=False) as opened:
        yield opened


def session_before_requests(engine: Engine) -> AbstractContextManager[Session]:
    """A read-only session for what a server reads before it takes requests."""
    return session_scope(engine, writes=False)


ReadSessionDep = Annotated[Session, Depends(read_session, scope="function")]
SessionDep = Annotated[Session, Depends(session, scope="function")]


def snapshot(session: SessionDep) -> BenchSnapshot:
    return current_snapshot(session)


SnapshotDep = Annotated[BenchSnapshot, Depends(snapshot, scope="function")]


def settings(request: Request) -> Settings:
    found: Settings = request.state["settings"]
    return found


SettingsDep = Annotated[Settings, Depends(settings)]


def render(request: Request, session: SessionDep) -> Render:
    """`render("pages/ranking/page.html", page)`; options: `charts=True` for pages with charts, `status_code=422`."""
    path = request.url.path
    address = f"{path}?{request.url.query}" if request.url.query else path

    def show(template: str, page: Any, *, charts: bool = False, status_code: int = 200) -> HTMLResponse:
        shell = read_shell(session, path, address)
        return render_page(template, page, shell, charts=charts, status_code=status_code)

    return show


RenderDep = Annotated[Render, Depends(render, scope="function")]
