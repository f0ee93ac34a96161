"""Charts by name: as a figure for the drawing in the browser, and as files to take away."""

import hashlib
from typing import Literal

import orjson
from fastapi import APIRouter, Request
from starlette.responses import Response

from app.errors import InvalidValue
from app.figures.chart_table import chart_csv
from app.figures.matplotlib_chart import LARGEST_PX, SMALLEST_PX, WIDTH_PX, png_bytes, svg_bytes
from app.figures.plotly_chart import plotly_figure
from app.web.addresses import query_form
from app.web.dependencies import SessionDep
from app.web.named_charts import make_chart
from app.web.typed_form import TypedForm

router = APIRouter()

ChartFormat = Literal["svg", "png", "csv"]
_MEDIA = {"svg": "image/svg+xml", "png": "image/png", "csv": "text/csv; charset=utf-8"}
# A picture carries no script of its own; opened by itself it may load nothing at all.
_PICTURE_POLICY = "default-src 'none'; style-src 'unsafe-inline'; sandbox"


@router.get("/figures/{name}.json")
def show_figure(name: str, request: Request, session: SessionDep) -> Response:
    """The figure for the drawing library: data, layout, and the finding in words."""
    chart = make_chart(session, name, query_form(request.query_params))
    return _answer(request, orjson.dumps(plotly_figure(chart)), "application/json", {})


@router.get("/charts/{name}.{chart_format}")
def take_chart(name: str, chart_format: ChartFormat, request: Request, session: SessionDep) -> Response:
    """The chart as a file. `width_px` from 320 to 4000; `fineness` 1 to 4 pixels for each of these, for PNG."""
    form = query_form(request.query_params)
    width_px, fineness = _size(form)
    chart = make_chart(session, name, form)
    if chart_format == "csv":
        content = chart_csv(chart).encode()
    elif chart_format == "svg":
        content = svg_bytes(chart, width_px)
    else:
        content = png_bytes(chart, width_px, fineness)
    headers = {
        "Content-Disposition": f'inline; filename="{name}.{chart_format}"',
        "Content-Security-Policy": _PICTURE_POLICY,
    }
    return _answer(request, content, _MEDIA[chart_format], headers)


def _size(form: TypedForm) -> tuple[int, float]:

    width_px = form.whole_number("width_px", "The width") or WIDTH_PX
    fineness = form.number("fineness", "The fineness") if form.typed("fineness") else 1.0
    if not SMALLEST_PX <= width_px <= LARGEST_PX:
        raise InvalidValue(
            f"The width is {width_px} px; {SMALLEST_PX} to {LARGEST_PX} px can be drawn.", field="width_px"
        )
    if fineness is None or not 1 <= fineness <= 4:
        raise InvalidValue(
            f"The fineness is {form.typed('fineness')!r}; a number from 1 to 4 is needed.", field="fineness"
        )
    return width_px, fineness


def _answer(request: Request, content: bytes, media_type: str, headers: dict[str, str]) -> Response:
    """The content with a tag made from its bytes; a client that has these bytes already is told so."""
    tag = f'"{hashlib.sha256(content).hexdigest()[:32]}"'
    headers = headers | {"ETag": tag, "Cache-Control": "no-cache"}
    if tag in request.headers.get("if-none-match", ""):
        return Response(status_code=304, headers=headers)
    return Response(content, media_type=media_type, headers=headers)
