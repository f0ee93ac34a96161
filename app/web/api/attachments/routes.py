"""Photos and documents: adding one, listing them, the file itself."""

from collections.abc import Sequence
from typing import Annotated, Any

from fastapi import Form, UploadFile
from sqlalchemy.orm import Session
from starlette.responses import Response

from app.services.store.checked_values import LONGEST_NAME
from app.services.store.entry_fields import stored_values
from app.services.units.attachments.definitions import NewAttachment
from app.web.api.derived import answer, body
from app.web.api.shapes import FromStore, Id, IdOrNone, OfBench, RequestBody, of_bench, problem_answers
from app.web.dependencies import SessionDep
from app.web.routers import api_router

router = api_router("attachments")
_FILE: dict[int | str, dict[str, Any]] = {
    200: {"description": "The file, byte for byte", "content": {"image/*": {}, "application/pdf": {}}},
    **problem_answers(404),
}


@answer(NewAttachment)
class AttachmentShape(FromStore):
    """A file: what it belongs to, and the hash of its bytes. `kind` is photo or document."""

    id: int
    unit_under_test_id: int | None
    trial_id: int | None
    sound_measurement_id: int | None
    power_measurement_id: int | None
    file_name: str
    media_type: str
    kind: str
    width_px: int | None
    height_px: int | None
    sha256: str


class AttachmentAdded(AttachmentShape, OfBench):
    """The file as it was stored."""


class AttachmentList(OfBench):
    attachments: list[AttachmentShape]


@body(NewAttachment)
class AttachmentForm(RequestBody):
    """A photo (JPEG, PNG, WebP) or a PDF document, with what it shows."""

    file: UploadFile
    who: Annotated[str, Form(max_length=LONGEST_NAME)] = ""


class UnitAttachmentForm(AttachmentForm):
    """`sound_measurement_id`, `power_measurement_id` : the reading that the file proves, if it is of one."""

    sound_measurement_id: IdOrNone = None
    power_measurement_id: IdOrNone = None


@router.get("/units/{unit_id}/attachments", responses=problem_answers(404))
def unit_attachments(unit_id: Id, session: SessionDep) -> AttachmentList:
    """Files of a unit and of its trials, in the order in which they were added."""
    from app.services.units.attachments.attach import (
        attachments_of_unit,  # loaded when used: it needs a picture library
    )
    from app.services.units.entry import get_unit

    get_unit(session, unit_id)
    return _list(session, attachments_of_unit(session, unit_id))


@router.post("/units/{unit_id}/attachments", status_code=201, responses=problem_answers(400, 404, 409, 413))
def unit_attachment_added(
    unit_id: Id, session: SessionDep, form: Annotated[UnitAttachmentForm, Form(media_type="multipart/form-data")]
) -> AttachmentAdded:
    """Stores a file of a unit byte for byte; 409 if it is attached there already."""
    from app.services.units.attachments.attach import Evidence

    belongs_to = Evidence(
        unit_id=unit_id,
        sound_measurement_id=form.sound_measurement_id,
        power_measurement_id=form.power_measurement_id,
    )
    return _added(session, belongs_to, form)


@router.get("/trials/{trial_id}/attachments", responses=problem_answers(404))
def trial_attachments(trial_id: Id, session: SessionDep) -> AttachmentList:
    """Files of a trial."""
    from app.services.logs.store import log_id_of_trial
    from app.services.units.attachments.attach import attachments_of_trial

    log_id_of_trial(session, trial_id)
    return _list(session, attachments_of_trial(session, trial_id))


@router.post("/trials/{trial_id}/attachments", status_code=201, responses=problem_answers(400, 404, 409, 413))
def trial_attachment_added(
    trial_id: Id, session: SessionDep, form: Annotated[AttachmentForm, Form(media_type="multipart/form-data")]
) -> AttachmentAdded:
    """Stores a file of a trial byte for byte; 409 if it is attached there already."""
    from app.services.units.attachments.attach import Evidence

    return _added(session, Evidence(trial_id=trial_id), form)


@router.get("/attachments/{attachment_id}/file", response_class=Response, responses=_FILE)
def attachment_file(attachment_id: Id, session: SessionDep) -> Response:
    """The file, byte for byte."""
    from app.services.units.attachments.attach import attachment_bytes, get_attachment
    from app.web.downloads.attached_file import original_file

    row = get_attachment(session, attachment_id)
    return original_file(attachment_bytes(session, row), row.file_name, row.sha256, row.media_type)


def _added(session: Session, belongs_to: Any, form: AttachmentForm) -> AttachmentAdded:
    from app.services.units.attachments.attach import attach, get_attachment

    new = NewAttachment(**stored_values(NewAttachment, form))
    attachment_id = attach(session, belongs_to, form.file.file.read(), form.file.filename or "", new, who=form.who)
    return AttachmentAdded.of(get_attachment(session, attachment_id), **of_bench(session))


def _list(session: Session, rows: Sequence[Any]) -> AttachmentList:
    return AttachmentList(attachments=[AttachmentShape.model_validate(row) for row in rows], **of_bench(session))
