"""Replays an invented run on the demonstration bench; the page asks for the readings that are due."""

from starlette.responses import RedirectResponse, Response

from app.services.adding_trials.live_runs.replay import replay, start_replay
from app.web.api.shapes import Id
from app.web.dependencies import SessionDep
from app.web.routers import page_router

router = page_router()


@router.post("/live/demonstration")
def demonstration_started(session: SessionDep) -> Response:
    return RedirectResponse(f"/live/{start_replay(session)}", 303)


@router.post("/live/{run_id}/replay")
def demonstration_continued(run_id: Id, session: SessionDep) -> Response:
    replay(session, run_id)
    return RedirectResponse(f"/live/{run_id}", 303)
