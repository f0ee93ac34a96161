"""Raw log files kept byte for byte, the logs read from them, and their readings; uploads before they become a trial.

Readings have one row per time with a column per channel. A column has no fixed meaning: `log_channels` says which
channel is in which column, so a new channel needs no new table. A log with more channels than columns continues in a
second block of rows. The rows of a log are consecutive, so the log stores its first row id and no row stores its log: a
composite key in millions of rows took an eighth of the store and a third of the writing time.
"""

from datetime import datetime

from sqlalchemy import CheckConstraint, Column, ForeignKey, Index, Table, UniqueConstraint
from sqlalchemy.orm import DeclarativeBase, Mapped, mapped_column, relationship

from app.storage.column_types import PackedBytes
from app.storage.models.base import STRICT, Base, RealNumber, RowNumber

VALUE_COLUMNS = tuple(f"value_{number:02d}" for number in range(1, 17))


class FileBase(DeclarativeBase):
    metadata, type_annotation_map = Base.metadata, Base.type_annotation_map


class RawFile(FileBase):
    """Bytes of an uploaded file; identical files are stored once. Hash and size are those of the file itself."""

    __tablename__ = "raw_files"
    __table_args__ = (CheckConstraint("length(sha256) = 64", name="sha256"), STRICT)

    sha256: Mapped[str] = mapped_column(primary_key=True)
    size_bytes: Mapped[int]
    content: Mapped[bytes] = mapped_column(PackedBytes, deferred=True)
    stored_at: Mapped[datetime]


class Log(FileBase):
    """One reading of one raw file: the choices made and the outcome. Elapsed times count from `started_at`."""

    __tablename__ = "logs"
    __table_args__ = (
        Index("ix_logs_sha256", "sha256"),
        Index("ix_logs_file_name", "file_name"),
        Index("ix_logs_started", "clock_is_known", "started_at"),
        STRICT,
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    sha256: Mapped[str] = mapped_column(ForeignKey("raw_files.sha256"))
    file_name: Mapped[str]
    encoding: Mapped[str]
    delimiter: Mapped[str]
    decimal_mark: Mapped[str]
    header_line: Mapped[int]
    timezone: Mapped[str]
    box: Mapped[str] = mapped_column(default="")
    day_first: Mapped[bool | None]
    profile_id: Mapped[int | None] = mapped_column(ForeignKey("logger_profiles.id", ondelete="SET NULL"))
    started_at: Mapped[datetime]
    clock_is_known: Mapped[bool]
    interval_s: Mapped[float]
    readings: Mapped[int]
    first_reading: Mapped[int | None] = mapped_column(RowNumber)  # block b begins at first_reading + b * readings
    rows_skipped: Mapped[int]
    notes: Mapped[str] = mapped_column(default="")  # one sentence a line
    stored_at: Mapped[datetime]

    channels: Mapped[list["LogChannel"]] = relationship(lazy="raise", order_by="LogChannel.position")


class LogChannel(FileBase):
    """Which channel is in which value column: block = position // 16, column = position % 16."""

    __tablename__ = "log_channels"
    __table_args__ = (UniqueConstraint("log_id", "channel"), STRICT)

    log_id: Mapped[int] = mapped_column(ForeignKey("logs.id", ondelete="CASCADE"), primary_key=True)
    position: Mapped[int] = mapped_column(primary_key=True)
    channel: Mapped[str]
    unit: Mapped[str]
    file_header: Mapped[str]
    file_unit: Mapped[str] = mapped_column(default="")
    held_values: Mapped[int] = mapped_column(default=0)


readings = Table(
    "readings",
    FileBase.metadata,
    Column("id", RowNumber, primary_key=True, autoincrement=False),
    Column("elapsed_s", RealNumber, nullable=False),
    *(Column(name, RealNumber) for name in VALUE_COLUMNS),
    sqlite_strict=True,
)


class UploadKey(FileBase):
    """Key of an upload that became a trial, stored with it, so that a repeat of the request is recognised.

    sha256 : digest of the file and the fields that came with the key
    """

    __tablename__ = "upload_keys"
    __table_args__ = (Index("ix_upload_keys_stored_at", "stored_at"), STRICT)

    idempotency_key: Mapped[str] = mapped_column(primary_key=True)
    sha256: Mapped[str]
    trial_id: Mapped[int] = mapped_column(ForeignKey("trials.id"))
    stored_at: Mapped[datetime]


class StagedFile(FileBase):
    """An upload that waits for confirmation, under its random token; only on a database server, else it is a file.

    It is no part of the bench: nothing refers to it, and it is removed after a day.
    """

    __tablename__ = "staged_files"
    __table_args__ = (Index("ix_staged_files_staged_at", "staged_at"), STRICT)

    token: Mapped[str] = mapped_column(primary_key=True)
    file_name: Mapped[str]
    size_bytes: Mapped[int] = mapped_column(RowNumber)
    sha256: Mapped[str]
    staged_at: Mapped[datetime]


class StagedPiece(FileBase):
    """A piece of such a file, so that a large one is never sent or held as a whole."""

    __tablename__ = "staged_pieces"
    __table_args__ = (STRICT,)

    token: Mapped[str] = mapped_column(ForeignKey("staged_files.token", ondelete="CASCADE"), primary_key=True)
    place: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    content: Mapped[bytes] = mapped_column(deferred=True)
