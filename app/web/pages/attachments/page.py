"""Photos and documents of a unit or a trial: list, adding one, deleting one, and the files themselves."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import Annotated

from fastapi import Depends, Request
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


@dataclass(frozen=True, slots=True)
class Owner:
    """The unit or trial whose files a page lists, and that page."""

    itself: Evidence
    address: str
    page: Callable[[Session, TypedForm], AttachmentsPage]


@dataclass(frozen=True, slots=True)
class Change:
    """What was sent: a change of the files, still to be made."""

    session: SessionDep
    render: RenderDep
    form: TypedFormDep

    def made(self, owner: Owner, act: Callable[[Session, TypedForm], None]) -> Response:
        """Back to the list after the change, or the page again with its errors."""
        with self.form.attempt(self.session):
            act(self.session, self.form)
            return RedirectResponse(owner.address, 303)
        return self.render(TEMPLATE, owner.page(self.session, self.form), status_code=422)


ChangeDep = Annotated[Change, Depends()]


def _unit(unit_id: Id) -> Owner:
    return Owner(Evidence(unit_id=unit_id), f"/units/{unit_id}/attachments", partial(_unit_page, unit_id))


def _trial(trial_id: Id) -> Owner:
    return Owner(Evidence(trial_id=trial_id), f"/trials/{trial_id}/attachments", partial(_trial_page, trial_id))


def _add_routes(path: str, owner_of: Callable[[int], Owner]) -> None:
    """The routes of the files of units, or of those of trials."""

    @router.get(path)
    def listed(owner: Annotated[Owner, Depends(owner_of)], session: SessionDep, render: RenderDep) -> Response:
        return render(TEMPLATE, owner.page(session, empty_form()))

    @router.post(path)
    def added(owner: Annotated[Owner, Depends(owner_of)], change: ChangeDep) -> Response:
        return change.made(owner, partial(_add, owner.itself))

    @router.post(f"{path}/{{attachment_id}}/take-back")
    def removed(owner: Annotated[Owner, Depends(owner_of)], attachment_id: Id, change: ChangeDep) -> Response:
        return change.made(owner, partial(_remove, attachment_id, owner.itself))

    @router.post(f"{path}/{{attachment_id}}/readers")
    def shown(owner: Annotated[Owner, Depends(owner_of)], attachment_id: Id, change: ChangeDep) -> Response:
        """Shows a photo to readers, or hides it from them."""
        return change.made(owner, partial(_show, attachment_id, owner.itself))


_add_routes("/units/{unit_id}/attachments", _unit)
_add_routes("/trials/{trial_id}/attachments", _trial)


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


def _add(owner: Evidence, session: Session, form: TypedForm) -> None:
    file = form.files.get("file")
    if file is None or not file.filename:
        form.add_error("file", "No file selected. Choose a photo or a PDF document.")
    new = form.entry(NewAttachment)
    form.stop_if_errors()
    if new is not None and file is not None:
        belongs_to = _measurement_chosen(form, owner)
        attach(session, belongs_to, file.file.read(), file.filename or "file", new, who=form.text("who"))


def _measurement_chosen(form: TypedForm, owner: Evidence) -> Evidence:
    """The owner, with the sound or power measurement of a unit that the file belongs to."""
    kind, _, number = form.text("about").partition(":")
    if owner.unit_id is None or not (number.isascii() and number.isdigit() and len(number) < 10):
        return owner
    return replace(
        owner,
        sound_measurement_id=int(number) if kind == "sound" else None,
        power_measurement_id=int(number) if kind == "power" else None,
    )


def _remove(attachment_id: int, of: Evidence, session: Session, form: TypedForm) -> None:
    detach(session, attachment_id, of=of, who=form.text("who"), why=form.text("why"))


def _show(attachment_id: int, of: Evidence, session: Session, form: TypedForm) -> None:
    show_to_readers(session, attachment_id, form.ticked("shown"), of=of, who=form.text("who"))


def _unit_page(unit_id: int, session: Session, form: TypedForm) -> AttachmentsPage:
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


def _trial_page(trial_id: int, session: Session, form: TypedForm) -> AttachmentsPage:
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
