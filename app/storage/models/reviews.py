"""What the desk publishes: a reviewer's texts on a unit with the figures they refer to, and the editions of the site.

Nothing is overwritten: an edit is a new version and the latest one counts; a further edition leaves those before it.
"""

from datetime import datetime

from sqlalchemy import CheckConstraint, ForeignKey, Index, UniqueConstraint
from sqlalchemy.orm import DeclarativeBase, Mapped, mapped_column, relationship

from app.storage.models.base import STRICT, Base


class FileBase(DeclarativeBase):
    metadata, type_annotation_map = Base.metadata, Base.type_annotation_map


class ReviewPoint(FileBase):
    """One version of one strength or weakness as edited by a person.

    key : the rule that gave the point, or "own-1", "own-2" for those that a person added
    evidence : the rule's text when the point was edited, to detect later changes
    """

    __tablename__ = "review_points"
    __table_args__ = (
        UniqueConstraint("unit_under_test_id", "key", "version"),
        CheckConstraint("kind IN ('strength', 'weakness')", name="kind"),
        CheckConstraint("state IN ('kept', 'left out')", name="state"),
        CheckConstraint("version > 0", name="version"),
        STRICT,
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    unit_under_test_id: Mapped[int] = mapped_column(ForeignKey("units_under_test.id", ondelete="CASCADE"))
    key: Mapped[str]
    version: Mapped[int]
    kind: Mapped[str]
    state: Mapped[str]
    words: Mapped[str]
    evidence: Mapped[str] = mapped_column(default="")
    written_by: Mapped[str]
    written_at: Mapped[datetime]
    why: Mapped[str] = mapped_column(default="")


class Verdict(FileBase):
    """One version of the reviewer's verdict on a unit; `state` is "published" once readers can see it."""

    __tablename__ = "verdicts"
    __table_args__ = (
        UniqueConstraint("unit_under_test_id", "version"),
        CheckConstraint("state IN ('draft', 'published')", name="state"),
        CheckConstraint("version > 0", name="version"),
        Index("ix_verdicts_state", "state"),
        STRICT,
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    unit_under_test_id: Mapped[int] = mapped_column(ForeignKey("units_under_test.id", ondelete="CASCADE"))
    version: Mapped[int]
    state: Mapped[str]
    words: Mapped[str]
    written_by: Mapped[str]
    written_at: Mapped[datetime]
    method_version: Mapped[str]

    figures: Mapped[list["VerdictFigure"]] = relationship(
        lazy="raise", order_by="VerdictFigure.position", passive_deletes="all"
    )
    withdrawal: Mapped["VerdictWithdrawal | None"] = relationship(lazy="raise", passive_deletes="all")


class VerdictWithdrawal(FileBase):
    """Withdrawal of a published verdict; its text and figures are kept."""

    __tablename__ = "verdict_withdrawals"
    __table_args__ = (STRICT,)

    verdict_id: Mapped[int] = mapped_column(ForeignKey("verdicts.id", ondelete="CASCADE"), primary_key=True)
    withdrawn_by: Mapped[str]
    withdrawn_at: Mapped[datetime]
    why: Mapped[str]


class VerdictFigure(FileBase):
    """A figure that a verdict referred to when it was saved, as shown to readers."""

    __tablename__ = "verdict_figures"
    __table_args__ = (STRICT,)

    verdict_id: Mapped[int] = mapped_column(ForeignKey("verdicts.id", ondelete="CASCADE"), primary_key=True)
    position: Mapped[int] = mapped_column(primary_key=True)
    key: Mapped[str]
    label: Mapped[str]
    value: Mapped[float | None]
    shown: Mapped[str]  # rounded by its uncertainty, with its interval and unit


class Edition(FileBase):
    """One published edition. `manifest` is its `edition.json` byte for byte, and `digest` the SHA-256 of that.

    id : its number
    numbers_sha256 : of the list of published numbers, the same in two editions with the same numbers
    last_change_id : newest entry of the record of changes that the edition had seen
    made_from : digests of what each page was made from, so that an unchanged page is not made again
    """

    __tablename__ = "editions"
    __table_args__ = (CheckConstraint("length(digest) = 64", name="digest"), STRICT)

    id: Mapped[int] = mapped_column(primary_key=True)
    published_at: Mapped[datetime]
    digest: Mapped[str]
    manifest: Mapped[bytes] = mapped_column(deferred=True)
    numbers_sha256: Mapped[str]
    numbers: Mapped[int]
    moved: Mapped[int]
    method_version: Mapped[str]
    last_change_id: Mapped[int]
    made_from: Mapped[str] = mapped_column(default="{}", deferred=True)


class EditionContent(FileBase):
    """Content of a published file, compressed by zlib; one row for all editions that hold the same bytes.

    Raw logs are not repeated here: they are in `raw_files` under the same SHA-256.
    """

    __tablename__ = "edition_contents"
    __table_args__ = (CheckConstraint("length(sha256) = 64", name="sha256"), STRICT)

    sha256: Mapped[str] = mapped_column(primary_key=True)
    size_bytes: Mapped[int]
    content: Mapped[bytes] = mapped_column(deferred=True)


class UnitAddress(FileBase):
    """An address of a unit in the published site; it is never given to another unit.

    current : the unit's address today; an earlier one, from before it was renamed, redirects to it
    """

    __tablename__ = "unit_addresses"
    __table_args__ = (Index("ix_unit_addresses_unit_under_test_id", "unit_under_test_id"), STRICT)

    address: Mapped[str] = mapped_column(primary_key=True)
    unit_under_test_id: Mapped[int] = mapped_column(ForeignKey("units_under_test.id", ondelete="CASCADE"))
    current: Mapped[bool]
