"""Photos and documents of a unit or a trial: list, adding one, deleting one, and the files themselves."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from fastapi import Request
from sqlalchemy.orm import Session
from starlette.responses import RedirectResponse, Response

from app.services.measurements.power_levels import power_levels_of_unit
from app.services.measurements.sound_levels import sound_levels_of_unit
from app.services.trials.detail import trial_detail
from app.services.units.attachments.attach import (
    Evidence,
    attach,
    attachment_bytes,
    attachment_picture,
    detach,
    get_attachment,
    show_to_readers,
)
from app.services.units.attachments.definitions import NewAttachment
from app.services.units.attachments.pictures import PictureSize
from app.services.units.entry import get_unit
from app.web.api.shapes import Id
from app.web.dependencies import RenderDep, SessionDep
from app.web.downloads.attached_file import original_file, photo_copy
from app.web.forms.typed_form import TypedForm, TypedFormDep, empty_form
from app.web.pages.attachments.lines import AttachmentLine, measurement_words, trial_lines, unit_lines
from app.web.routers import page_router
from app.web.templating.page_context import Choice

router = page_router()
TEMPLATE = "pages/attachments/page.html"


@dataclass(frozen=True, slots=True)
class AttachmentsPage:
    """`about` : choices of what a new file belongs to; a trial has none."""

    title: str
    address: str
    back: str
    back_words: str
    form: TypedForm
    lines: Sequence[AttachmentLine]
    about: Sequence[Choice]


@router.get("/units/{unit_id}/attachments")
def of_unit(unit_id: Id, session: SessionDep, render: RenderDep) -> Response:
    return render(TEMPLATE, _unit_page(session, unit_id, empty_form()))


@router.post("/units/{unit_id}/attachments")
def added_to_unit(unit_id: Id, session: SessionDep, render: RenderDep, form: TypedFormDep) -> Response:
    kind, _, number = form.text("about").partition(":")
    row_id = int(number) if number.isascii() and number.isdigit() and len(number) < 10 else None
    belongs_to = Evidence(
        unit_id=unit_id,
        sound_measurement_id=row_id if kind == "sound" else None,
        power_measurement_id=row_id if kind == "power" else None,
    )
    done = _add(session, form, belongs_to)
    return _after(done, f"/units/{unit_id}/attachments", render, lambda: _unit_page(session, unit_id, form))


@router.post("/units/{unit_id}/attachments/{attachment_id}/take-back")
def removed_from_unit(
    unit_id: Id, attachment_id: Id, session: SessionDep, render: RenderDep, form: TypedFormDep
) -> Response:
    done = _remove(session, form, attachment_id, Evidence(unit_id=unit_id))
    return _after(done, f"/units/{unit_id}/attachments", render, lambda: _unit_page(session, unit_id, form))


@router.post("/units/{unit_id}/attachments/{attachment_id}/readers")
def shown_of_unit(
    unit_id: Id, attachment_id: Id, session: SessionDep, render: RenderDep, form: TypedFormDep
) -> Response:
    """Shows a photo to readers, or hides it from them."""
    done = _show(session, form, attachment_id, Evidence(unit_id=unit_id))
    return _after(done, f"/units/{unit_id}/attachments", render, lambda: _unit_page(session, unit_id, form))


@router.post("/trials/{trial_id}/attachments/{attachment_id}/readers")
def shown_of_trial(
    trial_id: Id, attachment_id: Id, session: SessionDep, render: RenderDep, form: TypedFormDep
) -> Response:
    """Shows a photo to readers, or hides it from them."""
    done = _show(session, form, attachment_id, Evidence(trial_id=trial_id))
    return _after(done, f"/trials/{trial_id}/attachments", render, lambda: _trial_page(session, trial_id, form))


@router.get("/trials/{trial_id}/attachments")
def of_trial(trial_id: Id, session: SessionDep, render: RenderDep) -> Response:
    return render(TEMPLATE, _trial_page(session, trial_id, empty_form()))


@router.post("/trials/{trial_id}/attachments")
def added_to_trial(trial_id: Id, session: SessionDep, render: RenderDep, form: TypedFormDep) -> Response:
    done = _add(session, form, Evidence(trial_id=trial_id))
    return _after(done, f"/trials/{trial_id}/attachments", render, lambda: _trial_page(session, trial_id, form))


@router.post("/trials/{trial_id}/attachments/{attachment_id}/take-back")
def removed_from_trial(
    trial_id: Id, attachment_id: Id, session: SessionDep, render: RenderDep, form: TypedFormDep
) -> Response:
    done = _remove(session, form, attachment_id, Evidence(trial_id=trial_id))
    return _after(done, f"/trials/{trial_id}/attachments", render, lambda: _trial_page(session, trial_id, form))


@router.get("/attachments/{attachment_id}/file")
def original(attachment_id: Id, session: SessionDep) -> Response:
    """The file as it was added, byte for byte."""
    row = get_attachment(session, attachment_id)
    return original_file(attachment_bytes(session, row), row.file_name, row.sha256, row.media_type)


@router.get("/attachments/{attachment_id}/{size}.jpg")
def picture(attachment_id: Id, size: PictureSize, request: Request, session: SessionDep) -> Response:
    """A photo without hidden data, small or large."""
    row = get_attachment(session, attachment_id)
    return photo_copy(row, size, request, lambda: attachment_picture(session, row, size))


def _add(session: Session, form: TypedForm, belongs_to: Evidence) -> bool:
    file = form.files.get("file")
    if file is None or not file.filename:
        form.add_error("file", "No file selected. Choose a photo or a PDF document.")
    new = form.entry(NewAttachment)
    if new is None or file is None or not form.is_good:
        return False
    with form.attempt(session):
        attach(session, belongs_to, file.file.read(), file.filename or "file", new, who=form.text("who"))
        return True
    return False


def _remove(session: Session, form: TypedForm, attachment_id: int, of: Evidence) -> bool:
    with form.attempt(session):
        detach(session, attachment_id, of=of, who=form.text("who"), why=form.text("why"))
        return True
    return False


def _show(session: Session, form: TypedForm, attachment_id: int, of: Evidence) -> bool:
    with form.attempt(session):
        show_to_readers(session, attachment_id, form.ticked("shown"), of=of, who=form.text("who"))
        return True
    return False


def _after(done: bool, address: str, render: RenderDep, page: Callable[[], AttachmentsPage]) -> Response:
    """Back to the list after a change, or the page again with its errors."""
    return RedirectResponse(address, 303) if done else render(TEMPLATE, page(), status_code=422)


def _unit_page(session: Session, unit_id: int, form: TypedForm) -> AttachmentsPage:
    unit, chosen = get_unit(session, unit_id), form.typed("about")
    sounds, powers = sound_levels_of_unit(session, unit_id), power_levels_of_unit(session, unit_id)
    measured = measurement_words(sounds, powers)
    return AttachmentsPage(
        title=f"Photos and documents of {unit.maker} {unit.model}",
        address=f"/units/{unit_id}/attachments",
        back=f"/units/{unit_id}",
        back_words="Unit page",
        form=form,
        lines=unit_lines(session, unit_id, sounds, powers),
        about=[
            Choice("", "the unit", not chosen),
            *(Choice(key, words, key == chosen) for key, words in measured.items()),
        ],
    )


def _trial_page(session: Session, trial_id: int, form: TypedForm) -> AttachmentsPage:
    trial_detail(session, trial_id)
    return AttachmentsPage(
        title=f"Photos and documents of trial {trial_id}",
        address=f"/trials/{trial_id}/attachments",
        back=f"/trials/{trial_id}",
        back_words=f"Trial {trial_id}",
        form=form,
        lines=trial_lines(session, trial_id),
        about=[],
    )
