"""Download of the draft review of a unit."""

from typing import Literal

from fastapi import Query, Request
from starlette.responses import Response

from app.services.reviews.verdicts import verdicts_of_unit
from app.services.units.entry import get_unit
from app.web.api.shapes import Id, problem_answers
from app.web.dependencies import SessionDep
from app.web.downloads.parameters import download_content
from app.web.downloads.response import download_response
from app.web.routers import download_router

router = download_router()
_MEDIA = {"md": "text/markdown; charset=utf-8", "html": "text/html; charset=utf-8"}


@router.get(
    "/units/{unit_id}/draft.{draft_format}",
    response_class=Response,
    responses=download_content(_MEDIA) | problem_answers(404),
)
def download_draft(
    unit_id: Id,
    draft_format: Literal["md", "html"],
    request: Request,
    session: SessionDep,
    links: Literal["yes", "no"] = Query("yes", description="no: without links to this bench"),
) -> Response:
    """The draft as Markdown or HTML, the latest verdict first unless it was withdrawn; every number links to its
    source.
    """
    from app.figures.articles.draft_text import draft_html, draft_markdown  # loaded when used: with the draft
    from app.services.reviews.draft import review_draft  # loaded when used: it needs scipy

    get_unit(session, unit_id)
    verdicts = verdicts_of_unit(session, unit_id)
    words = verdicts[0].words if verdicts and verdicts[0].withdrawal is None else ""
    site = None if links == "no" else str(request.base_url).rstrip("/")
    write = draft_markdown if draft_format == "md" else draft_html
    content = write(review_draft(session, unit_id), words, site).encode()
    name = f"draft-of-unit-{unit_id}.{draft_format}"
    return download_response(request, content, _MEDIA[draft_format], file_name=name, attached=True)
