"""Page of advice on when to move a bench from the file to a database server."""

from starlette.responses import Response

from app.services.store.size import store_size
from app.web.dependencies import RenderDep, SessionDep
from app.web.routers import page_router

router = page_router()


@router.get("/growing")
def growing(session: SessionDep, render: RenderDep) -> Response:
    return render("pages/bench/database_server_advice.html", store_size(session))
