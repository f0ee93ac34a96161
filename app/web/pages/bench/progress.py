"""The progress of a long request, asked for by the page that waits for its answer."""

from fastapi import APIRouter
from starlette.responses import JSONResponse, Response

from app.web.progress_board import ProgressBoardDep

router = APIRouter()


@router.get("/progress/{key}")
def progress(key: str, board: ProgressBoardDep) -> Response:
    """Steps done and in all with a few words; nothing known is an answer too, since work may be done by now."""
    found = board.of(key)
    told = {} if found is None else {"done": found.done, "total": found.total, "what": found.what}
    return JSONResponse(told, headers={"Cache-Control": "no-store"})
