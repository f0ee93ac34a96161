"""Bulk entry from a table: upload, preview line by line, then store."""

from collections.abc import Sequence
from dataclasses import dataclass

from fastapi import Request
from sqlalchemy.orm import Session
from starlette.background import BackgroundTask
from starlette.responses import RedirectResponse, Response

from app.compute.wording.numbers import counted
from app.errors import HazefallError, NotFound
from app.services.adding_trials.staged_uploads import discard_upload, stage_upload, staged_content, staged_upload
from app.services.bulk.entry import BulkLine, BulkResult, empty_table, preview_bulk, store_bulk
from app.services.bulk.kinds import BULK_KINDS, BulkKind
from app.web.dependencies import RenderDep, SessionDep
from app.web.forms.addresses import address, query_form
from app.web.forms.staging import StagingDep
from app.web.forms.typed_form import TypedForm, TypedFormDep
from app.web.routers import page_router
from app.web.templating.page_context import Choice

router = page_router()
PATH = "/bulk"
_LINES_SHOWN = 400


@dataclass(frozen=True, slots=True)
class BulkPage:
    """The upload page; `done` says what was stored before."""

    form: TypedForm
    kinds: Sequence[Choice]
    tables: Sequence[BulkKind]
    done: str


@dataclass(frozen=True, slots=True)
class BulkPreviewPage:
    """Preview of a staged table, line by line; invalid lines come first."""

    form: TypedForm
    token: str
    file_name: str
    answer: str
    kind: BulkKind
    sheet: str
    recognised: Sequence[str]
    left_out: Sequence[str]
    lines: Sequence[BulkLine]
    not_shown: int
    adds: int
    already: int
    refused: int


@router.get(PATH)
def bulk(request: Request, render: RenderDep) -> Response:
    query = query_form(request.query_params)
    return render("pages/units/bulk.html", _page(TypedForm(), _done(query)))


@router.post(PATH)
def bulk_sent(session: SessionDep, area: StagingDep, render: RenderDep, form: TypedFormDep) -> Response:
    """Stages the table and shows the preview. Nothing is stored."""
    file = form.files.get("table")
    if file is None or not file.filename:
        form.add_error("table", "No file selected. Choose a CSV or XLSX table.")
        return render("pages/units/bulk.html", _page(form), status_code=422)
    try:
        staged = stage_upload(area, file.file.read(), file.filename)
        result = _preview(session, staged_content(area, staged), staged.file_name, form)
    except HazefallError as error:
        form.add_error(error.field if error.field in ("table", "kind", "sheet") else "table", error.message)
        return render("pages/units/bulk.html", _page(form), status_code=422)
    return render("pages/units/bulk_preview.html", _preview_page(result, form, staged.token))


@router.post("/bulk/{token}")
def bulk_confirmed(
    token: str, session: SessionDep, area: StagingDep, render: RenderDep, form: TypedFormDep
) -> Response:
    """Stores the staged table, or with `turn_down` discards it."""
    if form.ticked("turn_down"):
        discard_upload(area, token)
        return RedirectResponse(PATH, 303)
    try:
        staged = staged_upload(area, token)
    except NotFound:
        form.add_error("table", "This upload has expired or was already saved. Upload the table again.")
        return render("pages/units/bulk.html", _page(form), status_code=404)
    content = staged_content(area, staged)
    with form.attempt(session):
        result = store_bulk(
            session,
            content,
            staged.file_name,
            form.text("kind"),
            sheet=form.text("sheet") or None,
            leave_out_refused=form.ticked("leave_out"),
            who=form.text("who"),
        )
        counts = {"kind": [result.kind.name], "added": [str(result.count("adds"))]}
        counts |= {"already": [str(result.count("stored already"))], "refused": [str(result.count("refused"))]}
        # after the response, so after the commit: if the commit fails, the file stays staged
        return RedirectResponse(address(PATH, counts), 303, background=BackgroundTask(discard_upload, area, token))
    result = _preview(session, content, staged.file_name, form)
    return render("pages/units/bulk_preview.html", _preview_page(result, form, token), status_code=422)


@router.get("/bulk/{kind}.csv")
def empty(kind: str) -> Response:
    """The headers of a kind of table, as a template for a spreadsheet."""
    if kind not in BULK_KINDS:
        raise NotFound("kind of table", kind)
    headers = {"Content-Disposition": f'attachment; filename="{kind}.csv"'}
    return Response(empty_table(kind), media_type="text/csv; charset=utf-8", headers=headers)


def _preview(session: Session, content: bytes, file_name: str, form: TypedForm) -> BulkResult:
    return preview_bulk(session, content, file_name, form.text("kind"), sheet=form.text("sheet") or None)


def _page(form: TypedForm, done: str = "") -> BulkPage:
    chosen = form.typed("kind")
    kinds = [Choice("", "detect from headers", not chosen)]
    kinds += [Choice(kind.name, kind.words, kind.name == chosen) for kind in BULK_KINDS.values()]
    return BulkPage(form, kinds, tuple(BULK_KINDS.values()), done)


def _preview_page(result: BulkResult, form: TypedForm, token: str) -> BulkPreviewPage:
    adds, already, refused = (result.count(outcome) for outcome in ("adds", "stored already", "refused"))
    words = [f"{counted(adds, 'row')} will be saved"]
    if already:
        words.append(f"{already} already saved and skipped")
    if refused:
        words.append(f"{refused} rejected")
    ordered = sorted(result.lines, key=lambda line: (line.outcome != "refused", line.line))
    return BulkPreviewPage(
        form=form,
        token=token,
        file_name=result.file_name,
        answer=f"{', '.join(words)}.",
        kind=result.kind,
        sheet=result.sheet,
        recognised=result.recognised,
        left_out=result.left_out,
        lines=ordered[:_LINES_SHOWN],
        not_shown=max(0, len(ordered) - _LINES_SHOWN),
        adds=adds,
        already=already,
        refused=refused,
    )


def _done(query: TypedForm) -> str:
    kind = BULK_KINDS.get(query.typed("kind"))
    added, already = (query.whole_number(name, name) or 0 for name in ("added", "already"))
    refused = query.whole_number("refused", "refused") or 0
    if kind is None or not query.is_good:
        return ""
    words = f"{kind.words}: {counted(added, 'row')} saved"
    words += f", {already} already existed" if already else ""
    return words + (f", {refused} rejected and skipped." if refused else ".")
