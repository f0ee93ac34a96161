"""Units under test, their speed settings, prices and consumables."""

from datetime import date, datetime

from sqlalchemy import CheckConstraint, ForeignKey, Index, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column, relationship

from app.storage.models.base import STRICT, Base

KINDS_OF_CLEANING = (
    "mechanical filter",
    "electrostatic",
    "water wash",
    "ioniser",
    "ultraviolet",
    "fan-and-filter box",
    "other",
)


class UnitUnderTest(Base):
    """A unit under test. `consumables_state`: "unknown", "none needed" or "listed"."""

    __tablename__ = "units_under_test"
    __table_args__ = (
        UniqueConstraint("maker", "model"),
        CheckConstraint("length(maker) > 0 AND length(model) > 0", name="named"),
        CheckConstraint("consumables_state IN ('unknown', 'none needed', 'listed')", name="consumables_state"),
        STRICT,
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    maker: Mapped[str]
    model: Mapped[str]
    kind: Mapped[str]
    makes_ozone: Mapped[bool] = mapped_column(default=False)  # ionising or ultraviolet: the ozone caution is shown
    consumables_state: Mapped[str] = mapped_column(default="unknown")
    width_mm: Mapped[float | None]
    depth_mm: Mapped[float | None]
    height_mm: Mapped[float | None]
    mass_kg: Mapped[float | None]
    bought_on: Mapped[date | None]
    bought_from: Mapped[str] = mapped_column(default="")  # who paid for the unit; shown in the disclosure line
    serial_number: Mapped[str] = mapped_column(default="")
    notes: Mapped[str] = mapped_column(default="")
    created_at: Mapped[datetime]
    trashed_at: Mapped[datetime | None]

    settings: Mapped[list["SpeedSetting"]] = relationship(
        back_populates="unit_under_test", lazy="raise", order_by="SpeedSetting.position"
    )
    prices: Mapped[list["Price"]] = relationship(lazy="raise", order_by="Price.seen_on")
    consumables: Mapped[list["Consumable"]] = relationship(lazy="raise", order_by="Consumable.name")


class SpeedSetting(Base):
    """Speed or mode of a unit; `position` counts from the slowest, `is_highest` marks the highest."""

    __tablename__ = "speed_settings"
    __table_args__ = (UniqueConstraint("unit_under_test_id", "name"), STRICT)

    id: Mapped[int] = mapped_column(primary_key=True)
    unit_under_test_id: Mapped[int] = mapped_column(ForeignKey("units_under_test.id", ondelete="CASCADE"))
    name: Mapped[str]
    position: Mapped[int]
    is_highest: Mapped[bool] = mapped_column(default=False)

    unit_under_test: Mapped[UnitUnderTest] = relationship(back_populates="settings", lazy="raise")


class Price(Base):
    """Price of a unit on one day; older ones are kept."""

    __tablename__ = "prices"
    __table_args__ = (
        CheckConstraint("amount >= 0", name="amount"),
        CheckConstraint("length(currency) = 3", name="currency"),
        Index("ix_prices_unit_seen", "unit_under_test_id", "seen_on"),
        STRICT,
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    unit_under_test_id: Mapped[int] = mapped_column(ForeignKey("units_under_test.id", ondelete="CASCADE"))
    amount: Mapped[float]
    currency: Mapped[str]
    seen_on: Mapped[date]
    source: Mapped[str] = mapped_column(default="")


class Consumable(Base):
    """A filter or other part that wears out. Life in months, running hours, or both (whichever comes first)."""

    __tablename__ = "consumables"
    __table_args__ = (
        UniqueConstraint("unit_under_test_id", "name"),
        CheckConstraint("pack_size > 0 AND pieces_in_use > 0", name="pieces"),
        CheckConstraint("life_months IS NULL OR life_months > 0", name="life_months"),
        CheckConstraint("life_running_hours IS NULL OR life_running_hours > 0", name="life_running_hours"),
        STRICT,
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    unit_under_test_id: Mapped[int] = mapped_column(ForeignKey("units_under_test.id", ondelete="CASCADE"))
    name: Mapped[str]
    kind: Mapped[str] = mapped_column(default="filter")  # filter, washable part, water, additive, lamp, other
    washable: Mapped[bool] = mapped_column(default=False)
    pieces_in_use: Mapped[int] = mapped_column(default=1)
    pack_size: Mapped[int] = mapped_column(default=1)
    life_months: Mapped[float | None]
    life_running_hours: Mapped[float | None]
    life_source: Mapped[str] = mapped_column(default="")
    notes: Mapped[str] = mapped_column(default="")

    prices: Mapped[list["ConsumablePrice"]] = relationship(lazy="raise", order_by="ConsumablePrice.seen_on")


class ConsumablePrice(Base):
    """Price of one pack of a consumable on one day."""

    __tablename__ = "consumable_prices"
    __table_args__ = (
        CheckConstraint("amount >= 0", name="amount"),
        CheckConstraint("length(currency) = 3", name="currency"),
        Index("ix_consumable_prices_consumable_id", "consumable_id"),
        STRICT,
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    consumable_id: Mapped[int] = mapped_column(ForeignKey("consumables.id", ondelete="CASCADE"))
    amount: Mapped[float]
    currency: Mapped[str]
    seen_on: Mapped[date]
    source: Mapped[str] = mapped_column(default="")
