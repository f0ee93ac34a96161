"""What handlers ask for by type: the session, the settings, and the renderer of pages."""

from collections.abc import AsyncIterator, Iterator
from typing import Annotated, Any

from fastapi import Depends, Request
from sqlalchemy.exc import DBAPIError, IntegrityError
from sqlalchemy.orm import Session
from starlette.responses import HTMLResponse

from app.errors import AlreadyStored
from app.services.ranking.ranking_cache import KeptRankings
from app.services.store.audit import ACTING
from app.services.store.problems import store_problem_from
from app.settings import Settings
from app.storage.engine import session_scope
from app.web.current_user import signed_in_name
from app.web.templating.environment import Render, render_page
from app.web.templating.page_context import read_shell


async def write_lock(request: Request) -> AsyncIterator[None]:
    """Whoever changes something waits here, in the order of asking, and takes no thread away from readers meanwhile.

    The body is here already, so that nobody waits for a slow sender.
    """
    if not _changes(request):
        yield
        return
    async with request.state["write_lock"]:
        yield


def session(request: Request, _write_lock: Annotated[None, Depends(write_lock, scope="function")]) -> Iterator[Session]:
    """A session that commits when the handler returns, before the answer is sent; reading never waits for a writer."""
    try:
        with session_scope(request.state["engine"], writes=_changes(request)) as opened:
            opened.info[ACTING] = signed_in_name()  # stands in the record of every change made in it
            yield opened
    except IntegrityError as error:
        if not any(words in str(error.orig).lower() for words in ("unique constraint", "duplicate key")):
            raise
        # two requests at once, of which the other was first
        raise AlreadyStored(
            "The store holds something of the same name already, perhaps stored just now by another request. "
            "Nothing was stored; look at the list and try again."
        ) from error
    except DBAPIError as error:  # locked, full, read-only, damaged: the reader is told which, and what to do
        problem = store_problem_from(error)
        if problem is None:
            raise
        raise problem from error


def _changes(request: Request) -> bool:
    return request.method not in ("GET", "HEAD", "OPTIONS")


def read_session(request: Request) -> Iterator[Session]:
    """A second session that only reads, for what a changing request has to know before it takes its turn to write."""
    with session_scope(request.state["engine"], writes=False) as opened:
        yield opened


ReadSessionDep = Annotated[Session, Depends(read_session, scope="function")]
SessionDep = Annotated[Session, Depends(session, scope="function")]


def kept_rankings(request: Request) -> KeptRankings:
    rankings: KeptRankings = request.state["kept_rankings"]
    return rankings


KeptRankingsDep = Annotated[KeptRankings, Depends(kept_rankings)]


def settings(request: Request) -> Settings:
    found: Settings = request.state["settings"]
    return found


SettingsDep = Annotated[Settings, Depends(settings)]


def render(request: Request, session: SessionDep) -> Render:
    """`render("pages/ranking/page.html", page)`; further: `charts=True` on pages with drawings, `status_code=422`."""
    path = request.url.path
    address = f"{path}?{request.url.query}" if request.url.query else path

    def show(template: str, page: Any, *, charts: bool = False, status_code: int = 200) -> HTMLResponse:
        shell = read_shell(session, path, address)
        return render_page(template, page, shell, charts=charts, status_code=status_code)

    return show


RenderDep = Annotated[Render, Depends(render, scope="function")]
