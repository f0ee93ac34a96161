"""Photos for readers in a data package: copies without hidden data, and a table of what they show."""

from sqlalchemy import or_, select
from sqlalchemy.orm import Session

from app.services.data_package.archive import PackageZip
from app.services.data_package.selection import Chosen
from app.services.data_package.tables import PackageField, csv_of, field_descriptor
from app.services.units.attachments.attach import attachment_picture
from app.storage.models.attachments import Attachment

PHOTO_FIELDS = (
    PackageField("id", "integer", True),
    PackageField("unit_under_test_id", "integer", False),
    PackageField("trial_id", "integer", False),
    PackageField("sound_measurement_id", "integer", False),
    PackageField("power_measurement_id", "integer", False),
    PackageField("shows", "string", False),
    PackageField("caption", "string", False),
    PackageField("taken_on", "date", False),
    PackageField("path", "string", False),
)


def add_photos(session: Session, package: PackageZip, chosen: Chosen) -> None:
    """Adds nothing if no photo of the chosen units and trials is for readers."""
    of_chosen = or_(Attachment.unit_under_test_id.in_(chosen.units), Attachment.trial_id.in_(chosen.trials))
    for_readers = Attachment.for_readers == True  # noqa: E712  # PostgreSQL: a number, no truth
    rows = session.scalars(select(Attachment).where(for_readers, of_chosen).order_by(Attachment.id)).all()
    if not rows:
        return
    names = [field.name for field in PHOTO_FIELDS if field.name != "path"]
    listed = [(*(getattr(row, name) for name in names), photo_path(row.id)) for row in rows]
    schema = {
        "fields": [field_descriptor(field) for field in PHOTO_FIELDS],
        "missingValues": [""],
        "primaryKey": ["id"],
    }
    package.add_table(
        "photos", "data/photos.csv", csv_of([*names, "path"], listed), schema, "Photos and what they show"
    )
    for row in rows:  # one at a time, because all of them may not fit into memory
        package.add_file(
            f"photo-{row.id}", photo_path(row.id), attachment_picture(session, row, "large"), f"Photo, {row.shows}"
        )


def photo_path(attachment_id: int) -> str:
    return f"photos/{attachment_id}.jpg"
