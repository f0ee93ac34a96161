"""Charts of one trial, and of a staged log, as JSON for the page's script.

Drawing code is loaded when used: the analysis needs scipy, and a page of tables does not.
"""

from typing import Annotated, Any

from fastapi import Query, Request
from sqlalchemy.orm import Session
from starlette.responses import JSONResponse, Response

from app.errors import InvalidValue
from app.services.adding_trials.staged_uploads import staged_upload
from app.services.bench.form_options import trial_form_options
from app.web.api.shapes import Id
from app.web.dependencies import SessionDep
from app.web.downloads.parameters import figure_size
from app.web.forms.addresses import query_form
from app.web.forms.staging import StagingDep
from app.web.pages.adding_a_trial.preview import analysed_log
from app.web.pages.trials.marks import marks_from_form
from app.web.routers import page_router

router = page_router()

Channel = Annotated[str, Query(max_length=100)]
Scale = Annotated[str, Query(pattern="^(linear|log)$")]


@router.get("/trials/{trial_id}/figure.json")
def trial_figure(
    trial_id: Id, request: Request, session: SessionDep, channel: Channel = "", scale: Scale = "linear"
) -> Response:
    """Readings, marks and fit of a trial; with marks in the URL, as they would be under those."""
    from app.figures.charts.trial_in_log_time import trial_chart

    return _figure(trial_chart(_drawing(session, trial_id, channel, request), _facts(session), scale=scale), request)


@router.get("/trials/{trial_id}/residuals.json")
def trial_residuals(trial_id: Id, request: Request, session: SessionDep, channel: Channel = "") -> Response:
    """Residuals of the fit inside its window."""
    from app.figures.charts.trial_in_log_time import trial_residuals_chart

    return _figure(trial_residuals_chart(_drawing(session, trial_id, channel, request), _facts(session)), request)


@router.get("/trials/add/{token}/figure.json")
def preview_figure(token: str, request: Request, session: SessionDep, area: StagingDep) -> Response:
    """Preview chart of a staged log, read as the URL says."""
    from app.figures.charts.trial_in_log_time import trial_chart
    from app.services.trials.drawing import log_drawing

    form = query_form(request.query_params)
    upload = staged_upload(area, token)
    preview = analysed_log(session, area, upload, form, trial_form_options(session).timezone)
    return _figure(trial_chart(log_drawing(preview), _facts(session)), request)


def _drawing(session: Session, trial_id: int, channel: str, request: Request) -> Any:
    from app.services.trials.detail import trial_detail
    from app.services.trials.drawing import trial_drawing

    form = query_form(request.query_params)
    marks = marks_from_form(session, trial_detail(session, trial_id).trial, form)
    if not form.is_good:
        name, message = next(iter(form.errors.items()))
        raise InvalidValue(message, field=name)
    return trial_drawing(session, trial_id, channel, marks)


def _facts(session: Session) -> Any:
    from app.services.bench.chart_facts import read_chart_facts

    return read_chart_facts(session)


def _figure(chart: Any, request: Request) -> Response:
    from app.figures.renderers.plotly_chart import plotly_figure

    return JSONResponse(plotly_figure(chart, *figure_size(query_form(request.query_params))))
