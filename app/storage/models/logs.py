"""Raw log files kept byte for byte, the logs read from them, and their readings.

Readings have one row per time with a column per channel. A column has no fixed meaning: `log_channels` says which
channel is in which column, so a new channel needs no new table. A log with more channels than columns continues in a
second block of rows. The rows of a log are consecutive, so the log stores its first row id and no row stores its log: a
composite key in millions of rows took an eighth of the store and a third of the writing time.
"""

from datetime import datetime

from sqlalchemy import BigInteger, CheckConstraint, Column, ForeignKey, Index, Integer, Table, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column, relationship
from sqlalchemy.types import TypeEngine

from app.storage.models.base import STRICT, Base, RealNumber

# Billions of rows: more than PostgreSQL's INTEGER can count.
RowNumber: TypeEngine[int] = BigInteger().with_variant(Integer(), "sqlite")
VALUE_COLUMNS = tuple(f"value_{number:02d}" for number in range(1, 17))


class RawFile(Base):
    """Bytes of an uploaded file; identical files are stored once."""

    __tablename__ = "raw_files"
    __table_args__ = (CheckConstraint("length(sha256) = 64", name="sha256"), STRICT)

    sha256: Mapped[str] = mapped_column(primary_key=True)
    size_bytes: Mapped[int]
    content: Mapped[bytes] = mapped_column(deferred=True)
    stored_at: Mapped[datetime]


class Log(Base):
    """One reading of one raw file: the choices made and the outcome. Elapsed times count from `started_at`."""

    __tablename__ = "logs"
    __table_args__ = (Index("ix_logs_sha256", "sha256"), STRICT)

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


class LogChannel(Base):
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
    Base.metadata,
    Column("id", RowNumber, primary_key=True, autoincrement=False),
    Column("elapsed_s", RealNumber, nullable=False),
    *(Column(name, RealNumber) for name in VALUE_COLUMNS),
    sqlite_strict=True,
)


class UploadKey(Base):
    """Key of an upload that became a trial, stored with it, so that a repeat of the request is recognised.

    sha256 : digest of the file and the fields that came with the key
    """

    __tablename__ = "upload_keys"
    __table_args__ = (Index("ix_upload_keys_stored_at", "stored_at"), STRICT)

    idempotency_key: Mapped[str] = mapped_column(primary_key=True)
    sha256: Mapped[str]
    trial_id: Mapped[int] = mapped_column(ForeignKey("trials.id"))
    stored_at: Mapped[datetime]
