"""Charts by name: as JSON for the interactive chart, and as files for download."""

from collections.abc import AsyncIterator
from contextlib import nullcontext
from typing import Annotated, Literal

import orjson
from fastapi import Depends, Path, Request
from starlette.responses import Response

from app.errors import Busy, InvalidValue
from app.figures.chart import Chart
from app.figures.layout.chart_layout import WIDTH_PX
from app.figures.renderers.embedded_chart import chart_html
from app.figures.renderers.film import film
from app.figures.renderers.matplotlib_chart import png_bytes
from app.figures.renderers.plotly_chart import plotly_figure
from app.figures.renderers.svg_chart import svg_bytes
from app.figures.renderers.svg_colours import Look
from app.figures.renderers.video_frames import LONGEST_S, VIDEO_SIZES, animation_gif, is_over_time, seconds_of
from app.figures.tables.chart_table import chart_csv
from app.web.api.shapes import problem_answers
from app.web.dependencies import SessionDep
from app.web.downloads.chart_registry import NAMED_CHARTS, make_chart
from app.web.downloads.parameters import download_content, download_parameters, figure_size
from app.web.downloads.picture_sizes import IMAGE_SIZES, SIZES, sized_png
from app.web.downloads.response import download_response
from app.web.downloads.turn import download_turn
from app.web.forms.addresses import query_form
from app.web.forms.typed_form import TypedForm
from app.web.routers import download_router

router = download_router()

SMALLEST_PX, LARGEST_PX = 320, 4000
ChartFormat = Literal["svg", "png", "gif", "mp4", "webm", "csv", "html", "txt"]
LOOKS: tuple[Look, ...] = ("page", "light", "dark", "transparent")
_SPEED = 600.0  # times real time: ten minutes a second
_MEDIA = {
    "svg": "image/svg+xml",
    "png": "image/png",
    "gif": "image/gif",
    "mp4": "video/mp4",
    "webm": "video/webm",
    "csv": "text/csv; charset=utf-8",
    "html": "text/html; charset=utf-8",
    "txt": "text/plain; charset=utf-8",
}
_ANIMATED = ("gif", "mp4", "webm")
_TOO_BUSY = f"Other animations or packages are being prepared. Download this one again in {Busy.retry_after_s} s."
ChartName = Annotated[str, Path(json_schema_extra={"enum": list(NAMED_CHARTS)})]


@router.get("/figures/{name}.json", include_in_schema=False)
def show_figure(name: str, request: Request, session: SessionDep) -> Response:
    """The figure for Plotly: data, layout, and the finding in words."""
    form = query_form(request.query_params)
    chart = make_chart(session, name, form, dated=False)
    return download_response(request, orjson.dumps(plotly_figure(chart, *figure_size(form))), "application/json")


async def animation_turn(chart_format: ChartFormat, request: Request) -> AsyncIterator[None]:
    """An animation has some hundred frames in memory."""
    async with download_turn(request, _TOO_BUSY) if chart_format in _ANIMATED else nullcontext():
        yield


@router.get(
    "/charts/{name}.{chart_format}",
    response_class=Response,
    responses=download_content(_MEDIA) | problem_answers(404),
    openapi_extra={"parameters": download_parameters(with_sizes=True)},
)
def download_chart(
    _turn: Annotated[None, Depends(animation_turn, scope="function")],
    name: ChartName,
    chart_format: ChartFormat,
    request: Request,
    session: SessionDep,
) -> Response:
    """The chart as a file: picture (svg, png), animation of curves over time (gif, and
    with the extra "film" mp4 and webm), plotted numbers (csv),
    self-contained page (html), or suggested alt text with the source (txt). The query is that of the page with the
    chart.
    """
    form = query_form(request.query_params)
    chart = make_chart(session, name, form)
    content = _content(chart, chart_format, form)
    return download_response(
        request,
        content,
        _MEDIA[chart_format],
        file_name=f"{name}.{chart_format}",
        attached=chart_format == "html",
    )


def _content(chart: Chart, chart_format: ChartFormat, form: TypedForm) -> bytes:
    width_px, fineness = _size(form)
    look: Look = form.one_of("look", "The look", LOOKS) or LOOKS[0]  # type: ignore[assignment]
    if form.errors:
        raise InvalidValue(next(iter(form.errors.values())))
    if chart_format == "csv":
        return chart_csv(chart).encode()
    if chart_format == "html":
        return chart_html(chart, width_px).encode()
    if chart_format == "txt":
        return f"{chart.alt_text}\n\n{chart.foot}\n".encode()
    if chart_format == "svg":
        return svg_bytes(chart, width_px, look)
    if chart_format == "png":
        size = form.typed("size")
        return sized_png(chart, size, look) if size in VIDEO_SIZES else png_bytes(chart, width_px, fineness, look)
    return _animation(chart, form, look, chart_format)


def _animation(chart: Chart, form: TypedForm, look: Look, chart_format: Literal["gif", "mp4", "webm"]) -> bytes:
    if not is_over_time(chart):
        raise InvalidValue("Only curves over time can be animated; choose decay-overlay or trial-decay.")
    speed: float | None = form.number("speed", "The speed") if form.typed("speed") else _SPEED
    if speed is None or not 1 <= speed <= 1e5 or seconds_of(chart, speed) > LONGEST_S:
        raise InvalidValue(
            f"The speed is {form.typed('speed')!r}; enter times real time, from 1 to 100000, at which the curves end "
            f"within {LONGEST_S} s.",
            field="speed",
        )
    if chart_format == "gif":
        return animation_gif(chart, speed, look)
    frame = VIDEO_SIZES.get(form.typed("size"), VIDEO_SIZES["video-1080"])
    return film(chart, speed, look, frame, chart_format)


def _size(form: TypedForm) -> tuple[int, float]:
    size = form.one_of("size", "The size", SIZES)
    width_px, fineness = IMAGE_SIZES.get(size, (WIDTH_PX, 1.0))
    width_px = form.whole_number("width_px", "The width") or width_px
    if form.typed("fineness"):
        fineness = form.number("fineness", "The fineness") or 0.0
    if not SMALLEST_PX <= width_px <= LARGEST_PX:
        raise InvalidValue(
            f"The width is {width_px} px; {SMALLEST_PX} to {LARGEST_PX} px can be drawn.", field="width_px"
        )
    if not 1 <= fineness <= 4:
        raise InvalidValue(f"The fineness is {form.typed('fineness')!r}; enter a number from 1 to 4.", field="fineness")
    return width_px, fineness
