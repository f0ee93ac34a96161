"""Dependencies of route handlers: session, snapshot of the bench, settings, and page renderer."""

from collections.abc import AsyncIterator
from contextlib import AbstractContextManager, asynccontextmanager
from typing import Annotated, Any

from fastapi import Depends, Request
from fastapi.concurrency import contextmanager_in_threadpool
from sqlalchemy import Engine
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session
from starlette.responses import HTMLResponse

from app.errors import AlreadyStored
from app.services.snapshot.bench_snapshot import BenchSnapshot, current_snapshot
from app.services.store.audit import ACTING
from app.settings import Settings
from app.storage.engine import session_scope
from app.web.current_user import signed_in_name
from app.web.templating.environment import Render, render_page
from app.web.templating.page_context import read_shell


async def write_lock(request: Request) -> AsyncIterator[None]:
    """Serialises writing requests in order of arrival, without occupying a thread while waiting: the database allows
    one writer at a time and does not queue waiting ones fairly. A second one that reads its log meanwhile would not add
    changes, but keep readers waiting about a quarter longer (95th percentile).

    The request body has been received by then, so nobody waits for a slow client.
    """
    if not _changes(request):
        yield
        return
    async with request.state["write_lock"]:
        yield


@asynccontextmanager
async def _opened(request: Request, *, writes: bool) -> AsyncIterator[Session]:
    """A session that asks its database for nothing until it is used. Its end takes a thread only where it may wait, for
    a commit or for a database server: readers of a busy bench would queue once more for a thread.
    """
    engine: Engine = request.state["engine"]
    scope = session_scope(engine, writes=writes)
    if writes or engine.dialect.name != "sqlite":
        async with contextmanager_in_threadpool(scope) as opened:
            yield opened
    else:
        with scope as opened:
            yield opened


async def session(
    request: Request, _write_lock: Annotated[None, Depends(write_lock, scope="function")]
) -> AsyncIterator[Session]:
    """A session that commits when the handler returns, before the response is sent. Reading never waits for a
    writer.
    """
    try:
        async with _opened(request, writes=_changes(request)) as opened:
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


def _changes(request: Request) -> bool:
    return request.method not in ("GET", "HEAD", "OPTIONS")


async def read_session(request: Request) -> AsyncIterator[Session]:
    """A second, read-only session, for what a writing request needs before it takes the write lock."""
    async with _opened(request, writes=False) as opened:
        yield opened


def session_before_requests(engine: Engine) -> AbstractContextManager[Session]:
    """A read-only session for what a server reads before it takes requests."""
    return session_scope(engine, writes=False)


ReadSessionDep = Annotated[Session, Depends(read_session, scope="function")]
SessionDep = Annotated[Session, Depends(session, scope="function")]


def snapshot(session: SessionDep) -> BenchSnapshot:
    return current_snapshot(session)


SnapshotDep = Annotated[BenchSnapshot, Depends(snapshot, scope="function")]


async def settings(request: Request) -> Settings:
    found: Settings = request.state["settings"]
    return found


SettingsDep = Annotated[Settings, Depends(settings)]


async def render(request: Request, session: SessionDep) -> Render:
    """`render("pages/ranking/page.html", page)`; options: `charts=True` for pages with charts, `status_code=422`."""
    path = request.url.path
    address = f"{path}?{request.url.query}" if request.url.query else path

    def show(template: str, page: Any, *, charts: bool = False, status_code: int = 200) -> HTMLResponse:
        shell = read_shell(session, path, address)
        return render_page(template, page, shell, charts=charts, status_code=status_code)

    return show


RenderDep = Annotated[Render, Depends(render, scope="function")]
