"""When a desk should move its bench from the file to a database server, and when it should not."""

from fastapi import APIRouter
from starlette.responses import Response

from app.services.store_size import store_size
from app.web.dependencies import RenderDep, SessionDep

router = APIRouter()


@router.get("/growing")
def growing(session: SessionDep, render: RenderDep) -> Response:
    return render("pages/growing.html", store_size(session))
