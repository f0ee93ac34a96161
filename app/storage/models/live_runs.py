"""Live runs: trials that are still being measured. A finished run becomes a trial; its readings stay here as received.

Times of readings are those of the logger's clock, times of events those of the bench's clock.
"""

from datetime import datetime

from sqlalchemy import BigInteger, CheckConstraint, Column, ForeignKey, Index, Integer, Table, UniqueConstraint
from sqlalchemy.orm import DeclarativeBase, Mapped, mapped_column, relationship

from app.storage.models.base import STRICT, Base, RealNumber
from app.storage.models.logs import VALUE_COLUMNS
from app.storage.models.rooms import Room
from app.storage.models.units_under_test import SpeedSetting, UnitUnderTest

# Microseconds since 1970 need more than the four bytes of PostgreSQL's INTEGER.
_MICROSECONDS = BigInteger().with_variant(Integer(), "sqlite")


class FileBase(DeclarativeBase):
    metadata, type_annotation_map = Base.metadata, Base.type_annotation_map


class LiveRun(FileBase):
    """One live run. It is open until it is finished, or until nothing was received for a fixed time.

    source : how the readings arrive: "posted" by a script, "file" followed by the watch command, or "demonstration"
    start_key : idempotency key of the request that started it
    changes : counter that rises with every reading and event received, so that a page can ask for news
    logger_ahead_s : logger's clock minus the bench's clock, the highest seen, because readings only arrive late
    conflicts : values that differ from the value stored earlier for the same time; the earlier value is used
    replays_trial_id : trial whose readings a demonstration replays
    file_requested_at : finish was asked for, and the watch command has to send the file
    """

    __tablename__ = "live_runs"
    __table_args__ = (
        CheckConstraint("kind IN ('unit running', 'empty room')", name="kind"),
        CheckConstraint("source IN ('posted', 'file', 'demonstration')", name="source"),
        CheckConstraint("(finished_at IS NULL) = (trial_id IS NULL)", name="finished_with_trial"),
        CheckConstraint("(source = 'demonstration') = (replays_trial_id IS NOT NULL)", name="demonstration_replays"),
        UniqueConstraint("start_key"),
        Index("ix_live_runs_room", "room_id", "finished_at"),
        STRICT,
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    kind: Mapped[str]
    source: Mapped[str]
    room_id: Mapped[int] = mapped_column(ForeignKey("rooms.id"))
    unit_under_test_id: Mapped[int | None] = mapped_column(ForeignKey("units_under_test.id"))
    setting_id: Mapped[int | None] = mapped_column(ForeignKey("speed_settings.id"))
    smoke_source_id: Mapped[int | None] = mapped_column(ForeignKey("smoke_sources.id"))
    logger_id: Mapped[int | None] = mapped_column(ForeignKey("loggers.id"))
    profile_id: Mapped[int | None] = mapped_column(ForeignKey("logger_profiles.id", ondelete="SET NULL"))
    tested_by: Mapped[str] = mapped_column(default="")
    filter_state: Mapped[str] = mapped_column(default="")
    notes: Mapped[str] = mapped_column(default="")
    start_key: Mapped[str | None]
    started_at: Mapped[datetime]
    last_heard_at: Mapped[datetime]
    changes: Mapped[int] = mapped_column(default=0)
    logger_ahead_s: Mapped[float | None]
    conflicts: Mapped[int] = mapped_column(default=0)
    replays_trial_id: Mapped[int | None] = mapped_column(ForeignKey("trials.id"))
    file_requested_at: Mapped[datetime | None]
    finished_at: Mapped[datetime | None]
    trial_id: Mapped[int | None] = mapped_column(ForeignKey("trials.id"))

    room: Mapped[Room] = relationship(lazy="raise")
    unit_under_test: Mapped[UnitUnderTest | None] = relationship(lazy="raise")
    setting: Mapped[SpeedSetting | None] = relationship(lazy="raise")


class LiveChannel(FileBase):
    """Which channel is in which value column of the run's readings."""

    __tablename__ = "live_channels"
    __table_args__ = (UniqueConstraint("run_id", "channel"), STRICT)

    run_id: Mapped[int] = mapped_column(ForeignKey("live_runs.id", ondelete="CASCADE"), primary_key=True)
    position: Mapped[int] = mapped_column(primary_key=True)
    channel: Mapped[str]
    unit: Mapped[str]


live_readings = Table(
    "live_readings",
    FileBase.metadata,
    Column("run_id", Integer, ForeignKey("live_runs.id", ondelete="CASCADE"), primary_key=True, autoincrement=False),
    Column("at_us", _MICROSECONDS, primary_key=True, autoincrement=False),
    Column("change", Integer, nullable=False),  # the run's counter when this row was last written
    *(Column(name, RealNumber) for name in VALUE_COLUMNS),
    Index("ix_live_readings_change", "run_id", "change"),
    sqlite_strict=True,
)


class LiveLot(FileBase):
    """A lot of readings that was acknowledged, so that a repeat of the request is recognised."""

    __tablename__ = "live_lots"
    __table_args__ = (STRICT,)

    run_id: Mapped[int] = mapped_column(ForeignKey("live_runs.id", ondelete="CASCADE"), primary_key=True)
    idempotency_key: Mapped[str] = mapped_column(primary_key=True)
    sha256: Mapped[str]
    received_at: Mapped[datetime]
    added: Mapped[int]
    repeated: Mapped[int]
    conflicts: Mapped[int]


class LiveEvent(FileBase):
    """A phase event, tapped by a person: smoke lit, mixing fan off, unit on, unit off.

    at : time on the bench's clock
    sender_ahead_s : clock of the tablet minus the bench's clock when the event arrived, with the delay of the network
    """

    __tablename__ = "live_events"
    __table_args__ = (
        CheckConstraint("kind IN ('smoke lit', 'mixing fan off', 'unit on', 'unit off')", name="kind"),
        UniqueConstraint("run_id", "idempotency_key"),
        Index("ix_live_events_run", "run_id"),
        STRICT,
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    run_id: Mapped[int] = mapped_column(ForeignKey("live_runs.id", ondelete="CASCADE"))
    kind: Mapped[str]
    at: Mapped[datetime]
    received_at: Mapped[datetime]
    sender_ahead_s: Mapped[float | None]
    idempotency_key: Mapped[str | None]
    undone_at: Mapped[datetime | None]
