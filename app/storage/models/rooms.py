"""Rooms with changes and check units."""

from datetime import date, datetime

from sqlalchemy import CheckConstraint, ForeignKey, Index, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column

from app.storage.models.base import STRICT, Base


class Room(Base):
    """A test room. Volume is length × width × height where those are known, with a standard uncertainty."""

    __tablename__ = "rooms"
    __table_args__ = (
        UniqueConstraint("name"),
        CheckConstraint("room_volume_m3 > 0", name="room_volume_m3"),
        CheckConstraint("room_volume_uncertainty_m3 >= 0", name="room_volume_uncertainty_m3"),
        STRICT,
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    name: Mapped[str]
    length_m: Mapped[float | None]
    width_m: Mapped[float | None]
    height_m: Mapped[float | None]
    room_volume_m3: Mapped[float]
    room_volume_uncertainty_m3: Mapped[float]
    furniture: Mapped[str] = mapped_column(default="")
    notes: Mapped[str] = mapped_column(default="")


class RoomChange(Base):
    """Something that changed in a room on a day. With `new_limits` the control charts of the room begin a reference
    period on that day; without `reference_until` it has a fixed number of runs.
    """

    __tablename__ = "room_changes"
    __table_args__ = (
        CheckConstraint("reference_until IS NULL OR new_limits = 1", name="reference_has_limits"),
        CheckConstraint("reference_until IS NULL OR reference_until >= changed_on", name="reference_in_order"),
        Index("ix_room_changes_room", "room_id", "changed_on"),
        STRICT,
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    room_id: Mapped[int] = mapped_column(ForeignKey("rooms.id", ondelete="CASCADE"))
    changed_on: Mapped[date]
    kind: Mapped[str]
    words: Mapped[str]
    new_limits: Mapped[bool] = mapped_column(default=False)
    reference_until: Mapped[date | None]
    noted_by: Mapped[str] = mapped_column(default="")
    created_at: Mapped[datetime]


class CheckUnit(Base):
    """The setting of a unit that is run in a room every few weeks from a day on, until the next one."""

    __tablename__ = "check_units"
    __table_args__ = (UniqueConstraint("room_id", "valid_from"), STRICT)

    id: Mapped[int] = mapped_column(primary_key=True)
    room_id: Mapped[int] = mapped_column(ForeignKey("rooms.id", ondelete="CASCADE"))
    setting_id: Mapped[int] = mapped_column(ForeignKey("speed_settings.id", ondelete="CASCADE"))
    valid_from: Mapped[date]
    notes: Mapped[str] = mapped_column(default="")
    noted_by: Mapped[str] = mapped_column(default="")
    created_at: Mapped[datetime]
