"""Planned campaigns: runs in the order in which they are to be done. Which of them are done follows from the trials."""

from datetime import date, datetime

from sqlalchemy import CheckConstraint, ForeignKey, UniqueConstraint
from sqlalchemy.orm import DeclarativeBase, Mapped, mapped_column, relationship

from app.storage.models.base import STRICT, Base
from app.storage.models.rooms import Room
from app.storage.models.units_under_test import SpeedSetting


class FileBase(DeclarativeBase):
    metadata, type_annotation_map = Base.metadata, Base.type_annotation_map


class Plan(FileBase):
    """A campaign in one room, for one channel and aerosol.

    answer : the sentence with the number of runs, as it was when the plan was made
    seed, runs_a_day : with which the order of the runs was drawn
    """

    __tablename__ = "plans"
    __table_args__ = (
        CheckConstraint("runs_a_day > 0", name="runs_a_day"),
        UniqueConstraint("name"),
        STRICT,
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    name: Mapped[str]
    goal: Mapped[str]
    answer: Mapped[str]
    room_id: Mapped[int] = mapped_column(ForeignKey("rooms.id"))
    channel: Mapped[str]
    aerosol: Mapped[str]
    starts_on: Mapped[date]
    runs_a_day: Mapped[int]
    seed: Mapped[int]
    made_by: Mapped[str] = mapped_column(default="")
    made_at: Mapped[datetime]

    room: Mapped[Room] = relationship(lazy="raise")
    lines: Mapped[list["PlanLine"]] = relationship(
        lazy="raise", cascade="all, delete-orphan", order_by="PlanLine.position"
    )


class PlanLine(FileBase):
    """One run of a plan; without a setting it is an empty-room run.

    day, place : day of the campaign and place in the day, from one
    minutes : advised length of the decay
    """

    __tablename__ = "plan_lines"
    __table_args__ = (
        CheckConstraint("day > 0 AND place > 0 AND minutes > 0", name="above_zero"),
        STRICT,
    )

    plan_id: Mapped[int] = mapped_column(ForeignKey("plans.id", ondelete="CASCADE"), primary_key=True)
    position: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    day: Mapped[int]
    place: Mapped[int]
    setting_id: Mapped[int | None] = mapped_column(ForeignKey("speed_settings.id", ondelete="CASCADE"))
    minutes: Mapped[int]

    setting: Mapped[SpeedSetting | None] = relationship(lazy="raise")
