"""Photos chosen for readers, in the section of the draft that they belong to."""

from collections.abc import Collection, Sequence
from dataclasses import replace

from sqlalchemy.orm import Session

from app.services.reviews.wording import DraftPicture, DraftSection
from app.services.units.attachments.attach import attachments_of_unit
from app.storage.models.attachments import Attachment


def with_photos(session: Session, unit_id: int, sections: Sequence[DraftSection]) -> tuple[DraftSection, ...]:
    """The sections, each with its photos behind its charts; of a section that is not there, in the results."""
    rows = [row for row in attachments_of_unit(session, unit_id) if row.kind == "photo" and row.for_readers]
    of_section: dict[str, list[DraftPicture]] = {section.key: [] for section in sections}
    for row in rows:
        of_section[_key(row, of_section.keys())].append(_picture(row))
    return tuple(replace(section, pictures=(*section.pictures, *of_section[section.key])) for section in sections)


def _key(row: Attachment, present: Collection[str]) -> str:
    key = "results"
    if row.sound_measurement_id is not None:
        key = "sound"
    elif row.power_measurement_id is not None:
        key = "power"
    elif row.shows == "receipt":
        key = "disclosure"
    elif row.shows in ("label", "unit"):
        key = "what_it_is"
    return key if key in present else "results"


def _picture(row: Attachment) -> DraftPicture:
    shows = row.shows.capitalize()
    of_trial = "" if row.trial_id is None else f" of trial {row.trial_id}"
    taken = f", {row.taken_on.isoformat()}" if row.taken_on else ""
    return DraftPicture(
        f"/attachments/{row.id}/large.jpg",
        f"{shows}: {row.caption}" if row.caption else shows,
        f"{shows}{of_trial}{taken}. {row.caption}".rstrip(),
    )
