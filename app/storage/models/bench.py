"""The bench: its choices, tariffs of electricity, the record of every change, and the counter of changes per unit.

Triggers count every change of a row that the ranking, the costs or the advice use, whoever makes it, so that in-memory
data can be renewed for the changed units only. A count grows with each change on SQLite, and with each transaction on
PostgreSQL.
"""

from datetime import date, datetime

from sqlalchemy import CheckConstraint, ForeignKey, Index, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column

from app.storage.models.base import STRICT, Base, RowNumber

WHOLE_BENCH = 0  # row that counts every change, of units and of shared data


class Bench(Base):
    """Bench-wide choices. `invented` marks a demonstration; its notice is shown on every page."""

    __tablename__ = "bench"
    __table_args__ = (CheckConstraint("id = 1", name="one_row"), STRICT)

    id: Mapped[int] = mapped_column(primary_key=True, default=1)
    name: Mapped[str] = mapped_column(default="Bench")
    invented: Mapped[bool] = mapped_column(default=False)
    scenario: Mapped[str] = mapped_column(default="")
    timezone: Mapped[str] = mapped_column(default="UTC")
    currency: Mapped[str] = mapped_column(default="USD")
    clear_level_kind: Mapped[str] = mapped_column(default="absolute")
    clear_level_value: Mapped[float] = mapped_column(default=10.0)
    standard_distance_m: Mapped[float] = mapped_column(default=1.0)
    sound_correction_rule: Mapped[str] = mapped_column(default="ISO 3746")
    natural_decay_stale_after_days: Mapped[int] = mapped_column(default=180)
    hours_per_day: Mapped[float] = mapped_column(default=24.0)
    days_per_year: Mapped[float] = mapped_column(default=365.0)
    tariff_id: Mapped[int | None] = mapped_column(ForeignKey("tariffs.id"))
    main_channel: Mapped[str] = mapped_column(default="pm2_5")
    publication: Mapped[str] = mapped_column(default="")  # logo text on charts
    publication_font: Mapped[str] = mapped_column(default="")
    publication_ink: Mapped[str] = mapped_column(default="")
    publication_accent: Mapped[str] = mapped_column(default="")
    licence: Mapped[str] = mapped_column(default="", server_default="")  # of the published data, such as CC-BY-4.0


class Change(Base):
    """One change of one field of one item: who, when, before, after, why. Rows are only ever added."""

    __tablename__ = "changes"
    __table_args__ = (Index("ix_changes_subject", "subject", "subject_id"), STRICT)

    id: Mapped[int] = mapped_column(primary_key=True)
    at: Mapped[datetime]
    who: Mapped[str]
    action: Mapped[str]  # added, changed, excluded, restored, trashed, recomputed
    subject: Mapped[str]  # trial, unit under test, room, result, ...
    subject_id: Mapped[int]
    field: Mapped[str] = mapped_column(default="")
    before: Mapped[str | None]
    after: Mapped[str | None]
    why: Mapped[str] = mapped_column(default="")


class UnitChanges(Base):
    """One row per unit that was ever changed, and one for the whole bench. No foreign key: the row of a removed unit
    must remain, because it records the removal.
    """

    __tablename__ = "unit_changes"
    __table_args__ = (STRICT,)

    unit_under_test_id: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    changes: Mapped[int] = mapped_column(RowNumber)


class Tariff(Base):
    """Price per kilowatt-hour from a day on. `standing`: read, read second-hand, from memory, or own bill."""

    __tablename__ = "tariffs"
    __table_args__ = (
        UniqueConstraint("region", "valid_from"),
        CheckConstraint("price_per_kwh >= 0", name="price_per_kwh"),
        CheckConstraint("length(currency) = 3", name="currency"),
        STRICT,
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    region: Mapped[str]
    currency: Mapped[str]
    price_per_kwh: Mapped[float]
    valid_from: Mapped[date]
    source: Mapped[str] = mapped_column(default="")
    standing: Mapped[str] = mapped_column(default="")
