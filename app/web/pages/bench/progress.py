"""Progress of a long request, polled by the waiting page."""

from starlette.responses import JSONResponse, Response

from app.web.progress_board import ProgressBoardDep
from app.web.routers import page_router

router = page_router()


@router.get("/progress/{key}")
def progress(key: str, board: ProgressBoardDep) -> Response:
    """Steps done, total and a short text; an empty answer is normal, since the work may be finished."""
    found = board.of(key)
    steps = {} if found is None else {"done": found.done, "total": found.total, "what": found.what}
    return JSONResponse(steps, headers={"Cache-Control": "no-store"})
