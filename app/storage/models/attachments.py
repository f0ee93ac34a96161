"""Photos and documents that show where a value came from: a meter display, a receipt, a label."""

from datetime import date, datetime

from sqlalchemy import CheckConstraint, ForeignKey, Index
from sqlalchemy.orm import DeclarativeBase, Mapped, mapped_column

from app.storage.models.base import STRICT, Base


class FileBase(DeclarativeBase):
    metadata, type_annotation_map = Base.metadata, Base.type_annotation_map


class Attachment(FileBase):
    """A file of a unit, or of a trial; one of a unit may belong to one of its sound or power measurements."""

    __tablename__ = "attachments"
    __table_args__ = (
        CheckConstraint("(unit_under_test_id IS NULL) <> (trial_id IS NULL)", name="belongs_to_one"),
        CheckConstraint("kind IN ('photo', 'document')", name="kind"),
        CheckConstraint("kind = 'photo' OR for_readers = 0", name="for_readers"),
        Index("ix_attachments_unit", "unit_under_test_id"),
        Index("ix_attachments_trial", "trial_id"),
        STRICT,
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    unit_under_test_id: Mapped[int | None] = mapped_column(ForeignKey("units_under_test.id", ondelete="CASCADE"))
    trial_id: Mapped[int | None] = mapped_column(ForeignKey("trials.id", ondelete="CASCADE"))
    sound_measurement_id: Mapped[int | None] = mapped_column(ForeignKey("sound_measurements.id", ondelete="SET NULL"))
    power_measurement_id: Mapped[int | None] = mapped_column(ForeignKey("power_measurements.id", ondelete="SET NULL"))
    sha256: Mapped[str] = mapped_column(ForeignKey("raw_files.sha256"))
    file_name: Mapped[str]
    media_type: Mapped[str]
    kind: Mapped[str]
    width_px: Mapped[int | None]
    height_px: Mapped[int | None]
    shows: Mapped[str]
    caption: Mapped[str] = mapped_column(default="")
    taken_on: Mapped[date | None]
    added_by: Mapped[str] = mapped_column(default="")
    for_readers: Mapped[bool] = mapped_column(default=False)
    stored_at: Mapped[datetime]
