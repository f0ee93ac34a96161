"""Adds, lists and deletes photos and documents."""

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime

from sqlalchemy import or_, select
from sqlalchemy.orm import Session

from app.errors import AlreadyStored, InvalidValue, NotFound
from app.services.logs.raw_files import keep_raw_file
from app.services.store.audit import AT_THE_DESK, record_change
from app.services.store.checked_values import latest_current_day, optional_text, required_text
from app.services.store.entry_fields import checked_entry
from app.services.units.attachments.definitions import NewAttachment
from app.services.units.attachments.pictures import Picture, PictureSize, picture_copy, read_picture
from app.services.units.entry import SUBJECT, get_unit
from app.storage.models.attachments import Attachment
from app.storage.models.bench_measurements import PowerMeasurement, SoundMeasurement
from app.storage.models.logs import RawFile
from app.storage.models.trials import Trial

LARGEST_BYTES = 30_000_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Evidence:
    """What a file belongs to: a unit or a trial; one of a unit perhaps to a measurement of its sound or power."""

    unit_id: int | None = None
    trial_id: int | None = None
    sound_measurement_id: int | None = None
    power_measurement_id: int | None = None


def attach(
    session: Session,
    belongs_to: Evidence,
    content: bytes,
    file_name: str,
    new: NewAttachment,
    *,
    who: str = AT_THE_DESK,
    now: datetime | None = None,
) -> int:
    """Stores a file byte for byte and returns the attachment's id.

    Raises InvalidValue for a file that is neither a photo nor a PDF document, AlreadyStored if it is there already.
    """
    name = optional_text(file_name, "file", "The name of the file", 200) or "file"
    subject, subject_id = _check_subject(session, belongs_to)
    picture = _check_file(content, name, new)
    values = checked_entry(_with_day(new, picture))
    sha256 = hashlib.sha256(content).hexdigest()
    own = {
        "unit_under_test_id": belongs_to.unit_id,
        "trial_id": belongs_to.trial_id,
        "sound_measurement_id": belongs_to.sound_measurement_id,
        "power_measurement_id": belongs_to.power_measurement_id,
        "sha256": sha256,
    }
    if session.scalar(select(Attachment.id).filter_by(**own)) is not None:
        raise AlreadyStored(f"{name} is already attached here.", field="file")
    at = now or datetime.now(UTC)
    keep_raw_file(session, sha256, content, at)
    row = Attachment(
        **own,
        **values,
        file_name=name,
        media_type=picture.media_type if picture else "application/pdf",
        kind="photo" if picture else "document",
        width_px=picture.width_px if picture else None,
        height_px=picture.height_px if picture else None,
        added_by=who,
        stored_at=at,
    )
    session.add(row)
    session.flush()
    record_change(session, who, "added", subject, subject_id, "attachment", None, _words(row))
    return row.id


def attachments_of_unit(session: Session, unit_id: int) -> Sequence[Attachment]:
    """Those of the unit and of its trials, in the order in which they were added."""
    trials = select(Trial.id).where(Trial.unit_under_test_id == unit_id, Trial.trashed_at.is_(None))
    wanted = or_(Attachment.unit_under_test_id == unit_id, Attachment.trial_id.in_(trials))
    return session.scalars(select(Attachment).where(wanted).order_by(Attachment.id)).all()


def attachments_of_trial(session: Session, trial_id: int) -> Sequence[Attachment]:
    return session.scalars(select(Attachment).where(Attachment.trial_id == trial_id).order_by(Attachment.id)).all()


def get_attachment(session: Session, attachment_id: int) -> Attachment:
    row = session.get(Attachment, attachment_id)
    if row is None:
        raise NotFound("attachment", attachment_id)
    return row


def attachment_bytes(session: Session, row: Attachment) -> bytes:
    """The file as it was added."""
    return session.scalars(select(RawFile.content).where(RawFile.sha256 == row.sha256)).one()


def attachment_picture(session: Session, row: Attachment, size: PictureSize) -> bytes:
    """A photo as a JPEG without hidden data. Raises NotFound for a document."""
    if row.kind != "photo":
        raise NotFound("photo", row.id)
    return picture_copy(attachment_bytes(session, row), row.file_name, size)


def detach(
    session: Session, attachment_id: int, *, of: Evidence | None = None, who: str = AT_THE_DESK, why: str
) -> None:
    """Deletes an attachment; the raw file stays in the store, and the record names its hash.

    of : the unit or trial that it has to belong to, also through a measurement or a trial of the unit; None: any
    Raises NotFound for an attachment of another one.
    """
    row = _attachment_of(session, attachment_id, of)
    reason = required_text(why, "why", "The reason for removal")
    subject = _subject(row)
    before = f"{_words(row)}\nraw file (SHA-256): {row.sha256}"
    record_change(session, who, "taken back", *subject, "attachment", before, None, reason)
    session.delete(row)
    session.flush()


def show_to_readers(session: Session, attachment_id: int, shown: bool, *, of: Evidence, who: str = AT_THE_DESK) -> None:
    """Chooses a photo for drafts, published pages and data packages, or hides it from them again."""
    row = _attachment_of(session, attachment_id, of)
    if row.kind != "photo":
        raise _only_photos(row.file_name)
    if row.for_readers != shown:
        row.for_readers = shown
        words = ("shown to readers", "not shown to readers")
        before, after = words if not shown else words[::-1]
        record_change(session, who, "changed", *_subject(row), "attachment", before, f"{_words(row)}: {after}")
        session.flush()


def _only_photos(name: str) -> InvalidValue:
    return InvalidValue(
        f"{name} is a document. Only photos are shown to readers, because a document may hold names and addresses. "
        "Add a photo of the page instead.",
        field="for_readers",
    )


def _subject(row: Attachment) -> tuple[str, int]:
    return ("trial", row.trial_id) if row.trial_id is not None else (SUBJECT, row.unit_under_test_id or 0)


def _attachment_of(session: Session, attachment_id: int, of: Evidence | None) -> Attachment:
    row = get_attachment(session, attachment_id)
    if of is not None and not _belongs(session, row, of):
        raise NotFound("attachment here", attachment_id)
    return row


def _belongs(session: Session, row: Attachment, of: Evidence) -> bool:
    if of.trial_id is not None:
        return row.trial_id == of.trial_id
    trial = session.get(Trial, row.trial_id) if row.trial_id is not None else None
    return of.unit_id == (row.unit_under_test_id if trial is None else trial.unit_under_test_id)


def _check_file(content: bytes, name: str, new: NewAttachment) -> Picture | None:
    """The photo in the file, None for a document."""
    if len(content) > LARGEST_BYTES:
        raise InvalidValue(
            f"{name} has {len(content) / 1e6:.0f} MB; at most {LARGEST_BYTES / 1e6:.0f} MB are stored. "
            "Save it smaller.",
            field="file",
        )
    picture = read_picture(content, name)
    if picture is None and not content.startswith(b"%PDF-"):
        raise InvalidValue(
            f"{name} is neither a photo (JPEG, PNG, WebP) nor a PDF document. Save it as one of them.", field="file"
        )
    if picture is None and new.for_readers:
        raise _only_photos(name)
    return picture


def _check_subject(session: Session, belongs_to: Evidence) -> tuple[str, int]:
    if (belongs_to.unit_id is None) == (belongs_to.trial_id is None):
        raise InvalidValue("A file belongs to one unit or to one trial. Choose one of them.", field="about")
    if belongs_to.trial_id is not None:
        if session.get(Trial, belongs_to.trial_id) is None:
            raise NotFound("trial", belongs_to.trial_id)
        return "trial", belongs_to.trial_id
    unit_id = get_unit(session, belongs_to.unit_id or 0).id
    sound = _of_unit(session, SoundMeasurement, belongs_to.sound_measurement_id, unit_id, "sound level")
    power = _of_unit(session, PowerMeasurement, belongs_to.power_measurement_id, unit_id, "power level")
    if sound and power:
        raise InvalidValue("A file belongs to a sound level or to a power level. Choose one of them.", field="about")
    return SUBJECT, unit_id


def _of_unit(
    session: Session, table: type[SoundMeasurement | PowerMeasurement], row_id: int | None, unit_id: int, what: str
) -> bool:
    if row_id is None:
        return False
    of_unit = session.scalar(select(table.unit_under_test_id).where(table.id == row_id))
    if of_unit != unit_id:
        raise NotFound(what, row_id)
    return True


def _with_day(new: NewAttachment, picture: Picture | None) -> NewAttachment:
    """The entry with the date of the photo, if no date was given and the photo's can be true."""
    taken_on = picture.taken_on if picture else None
    if new.taken_on is None and taken_on is not None and taken_on.year >= 1990 and taken_on <= latest_current_day():
        return replace(new, taken_on=taken_on)
    return new


def _words(row: Attachment) -> str:
    return f"{row.shows}, {row.file_name}{f', “{row.caption}”' if row.caption else ''}"
