"""Download of the data package of chosen units, or of the whole bench."""

import tempfile
from collections.abc import AsyncIterator, Iterator
from dataclasses import dataclass
from typing import IO, Annotated

from fastapi import Depends, Request
from starlette.background import BackgroundTask
from starlette.responses import HTMLResponse, StreamingResponse

from app.errors import Busy, InvalidValue
from app.services.units.list import unit_names
from app.web.api.shapes import problem_answers
from app.web.dependencies import RenderDep, SessionDep
from app.web.downloads.turn import download_turn
from app.web.forms.addresses import query_form
from app.web.forms.chart_choices import chosen_units
from app.web.forms.typed_form import TypedForm
from app.web.routers import download_router, page_router
from app.web.templating.page_context import Choice

router = page_router()
file_router = download_router()
_IN_MEMORY = 8_000_000
_PART = 1 << 16
_MOST_SHOWN = 60
_TOO_BUSY = (
    f"Other packages or animations are being prepared. Download this one again in {Busy.retry_after_s} s, or write it "
    "with `hazefall package`, which keeps no page waiting."
)


@dataclass(frozen=True, slots=True)
class PackagePage:
    """`units` named in the URL are ticked; others are listed by name, up to a limit.

    not_shown : number of units that are not listed
    """

    units: tuple[Choice, ...]
    not_shown: int
    form: TypedForm


@router.get("/package")
def show_package(request: Request, session: SessionDep, render: RenderDep) -> HTMLResponse:
    form = query_form(request.query_params)
    chosen = chosen_units(form)
    words = form.typed("search").casefold().split()
    names = unit_names(session)
    found = [(one, name) for one, name in names if one not in chosen and all(word in name.casefold() for word in words)]
    shown = {one for one, _ in found[:_MOST_SHOWN]}.union(chosen)
    page = PackagePage(
        units=tuple(Choice(str(one), name, one in chosen) for one, name in names if one in shown),
        not_shown=max(0, len(found) - _MOST_SHOWN),
        form=form,
    )
    return render("pages/downloads/package.html", page, status_code=200 if form.is_good else 422)


async def package_turn(request: Request) -> AsyncIterator[None]:
    async with download_turn(request, _TOO_BUSY):
        yield


@file_router.get(
    "/package.zip",
    response_class=StreamingResponse,
    responses={
        200: {"content": {"application/zip": {"schema": {"type": "string", "format": "binary"}}}},
        **problem_answers(404),
    },
    openapi_extra={
        "parameters": [
            {
                "name": "unit",
                "in": "query",
                "required": False,
                "description": "unit numbers separated by commas; omit for all",
                "schema": {"type": "string"},
            }
        ]
    },
)
def download_package(
    _turn: Annotated[None, Depends(package_turn, scope="function")], request: Request, session: SessionDep
) -> StreamingResponse:
    """A data package by the Frictionless Data Package standard: raw logs, readings, results, method; checked with
    `hazefall check PACKAGE.zip`."""
    from app.services.data_package.write import write_package  # loaded when used: it needs scipy

    form = query_form(request.query_params)
    chosen = chosen_units(form)
    if not form.is_good:
        field, message = next(iter(form.errors.items()))
        raise InvalidValue(message, field=field)
    # larger packages go to disk, so that a whole bench need not fit into memory
    content = tempfile.SpooledTemporaryFile(max_size=_IN_MEMORY)  # noqa: SIM115  # closed when it was sent
    try:
        write_package(session, content, chosen or None)
        content.seek(0)
    except BaseException:
        content.close()
        raise
    name = f"units-{'-'.join(map(str, chosen[:8]))}.zip" if chosen else "bench.zip"
    headers = {"Content-Disposition": f'attachment; filename="{name}"', "Cache-Control": "no-store"}
    closing = BackgroundTask(content.close)  # also where the client leaves before the end
    return StreamingResponse(_parts(content), media_type="application/zip", headers=headers, background=closing)


def _parts(content: IO[bytes]) -> Iterator[bytes]:
    with content:
        while part := content.read(_PART):
            yield part
