"""Page of one trial: results in charts and numbers, and their sources."""

from fastapi import APIRouter, Request
from starlette.responses import Response

from app.services.history.change_history import change_history
from app.web.api.shapes import Id
from app.web.dependencies import RenderDep, SessionDep
from app.web.forms.addresses import query_form
from app.web.pages.trials.view import trial_page

router = APIRouter()


@router.get("/trials/{trial_id}")
def trial(trial_id: Id, request: Request, session: SessionDep, render: RenderDep) -> Response:
    from app.services.trials.detail import trial_detail  # loaded when used: it needs scipy

    query = query_form(request.query_params)
    page = trial_page(trial_detail(session, trial_id), change_history(session, "trial", trial_id), query)
    return render(
        "pages/trials/page.html", page, charts=bool(page.figure_url), status_code=200 if query.is_good else 422
    )
