"""Tables by name, for download as HTML, Markdown, CSV and XLSX."""

from typing import Annotated, Literal

from fastapi import Path, Request
from starlette.responses import Response

from app.figures.tables.formats import csv_text, html_fragment, markdown
from app.figures.tables.workbook import MEDIA_TYPE, workbook_bytes
from app.services.bench.chart_facts import read_chart_facts
from app.web.api.shapes import problem_answers
from app.web.dependencies import SessionDep
from app.web.downloads.parameters import download_content, download_parameters
from app.web.downloads.response import download_response
from app.web.forms.addresses import query_form
from app.web.pages.downloads.table_registry import NAMED_TABLES, make_table
from app.web.routers import download_router

router = download_router()

TableFormat = Literal["html", "md", "csv", "xlsx"]
TableName = Annotated[str, Path(json_schema_extra={"enum": list(NAMED_TABLES)})]
_WRITTEN = {"html": html_fragment, "md": markdown, "csv": csv_text}
_MEDIA = {
    "html": "text/html; charset=utf-8",
    "md": "text/markdown; charset=utf-8",
    "csv": "text/csv; charset=utf-8",
    "xlsx": MEDIA_TYPE,
}


@router.get(
    "/tables/{name}.{table_format}",
    response_class=Response,
    responses=download_content(_MEDIA) | problem_answers(404),
    openapi_extra={"parameters": download_parameters(with_sizes=False)},
)
def download_table(name: TableName, table_format: TableFormat, request: Request, session: SessionDep) -> Response:
    """The table as a file: an HTML fragment with caption and scope, Markdown, CSV with plain digits, or a workbook with
    numbers as numbers and a sheet on its source. The query is that of the page which shows the table; numbers are
    rounded by their uncertainty."""
    table = make_table(session, name, query_form(request.query_params))
    is_workbook = table_format == "xlsx"
    if is_workbook:
        content = workbook_bytes(table, invented=read_chart_facts(session).invented)
    else:
        content = _WRITTEN[table_format](table).encode()
    return download_response(
        request, content, _MEDIA[table_format], file_name=f"{name}.{table_format}", attached=is_workbook
    )
