"""Charts by name: as JSON for the interactive chart, and as files for download."""

from typing import Annotated, Literal

import orjson
from fastapi import APIRouter, Path, Request
from starlette.responses import Response

from app.errors import InvalidValue
from app.figures.chart import Chart
from app.figures.layout.chart_layout import WIDTH_PX
from app.figures.renderers.embedded_chart import chart_html
from app.figures.renderers.matplotlib_chart import png_bytes
from app.figures.renderers.plotly_chart import plotly_figure
from app.figures.renderers.svg_chart import svg_bytes
from app.figures.tables.chart_table import chart_csv
from app.web.api.shapes import problem_answers
from app.web.dependencies import SessionDep
from app.web.downloads.chart_registry import NAMED_CHARTS, make_chart
from app.web.downloads.parameters import download_content, download_parameters, figure_size
from app.web.downloads.response import download_response
from app.web.forms.addresses import query_form
from app.web.forms.typed_form import TypedForm

router = APIRouter(tags=["chart and table downloads"])

SMALLEST_PX, LARGEST_PX = 320, 4000
ChartFormat = Literal["svg", "png", "csv", "html", "txt"]
_MEDIA = {
    "svg": "image/svg+xml",
    "png": "image/png",
    "csv": "text/csv; charset=utf-8",
    "html": "text/html; charset=utf-8",
    "txt": "text/plain; charset=utf-8",
}
ChartName = Annotated[str, Path(json_schema_extra={"enum": list(NAMED_CHARTS)})]


@router.get("/figures/{name}.json", include_in_schema=False)
def show_figure(name: str, request: Request, session: SessionDep) -> Response:
    """The figure for Plotly: data, layout, and the finding in words."""
    form = query_form(request.query_params)
    chart = make_chart(session, name, form, dated=False)
    return download_response(request, orjson.dumps(plotly_figure(chart, *figure_size(form))), "application/json")


@router.get(
    "/charts/{name}.{chart_format}",
    response_class=Response,
    responses=download_content(_MEDIA) | problem_answers(404),
    openapi_extra={"parameters": download_parameters(with_sizes=True)},
)
def download_chart(name: ChartName, chart_format: ChartFormat, request: Request, session: SessionDep) -> Response:
    """The chart as a file: picture (svg, png), plotted numbers (csv), self-contained page (html), or suggested alt text
    with the source (txt). The query is that of the page with the chart.
    """
    form = query_form(request.query_params)
    width_px, fineness = _size(form)
    chart = make_chart(session, name, form)
    content = _content(chart, chart_format, width_px, fineness)
    return download_response(
        request,
        content,
        _MEDIA[chart_format],
        file_name=f"{name}.{chart_format}",
        attached=chart_format == "html",
    )


def _content(chart: Chart, chart_format: ChartFormat, width_px: int, fineness: float) -> bytes:
    if chart_format == "csv":
        return chart_csv(chart).encode()
    if chart_format == "html":
        return chart_html(chart, width_px).encode()
    if chart_format == "txt":
        return f"{chart.alt_text}\n\n{chart.foot}\n".encode()
    return svg_bytes(chart, width_px) if chart_format == "svg" else png_bytes(chart, width_px, fineness)


def _size(form: TypedForm) -> tuple[int, float]:
    width_px = form.whole_number("width_px", "The width") or WIDTH_PX
    fineness = form.number("fineness", "The fineness") if form.typed("fineness") else 1.0
    if not SMALLEST_PX <= width_px <= LARGEST_PX:
        raise InvalidValue(
            f"The width is {width_px} px; {SMALLEST_PX} to {LARGEST_PX} px can be drawn.", field="width_px"
        )
    if fineness is None or not 1 <= fineness <= 4:
        raise InvalidValue(f"The fineness is {form.typed('fineness')!r}; enter a number from 1 to 4.", field="fineness")
    return width_px, fineness
