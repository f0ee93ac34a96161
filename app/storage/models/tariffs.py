"""Electricity tariffs by region and date, each with its source and its standing."""

from datetime import date

from sqlalchemy import CheckConstraint, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column

from app.storage.models.base import STRICT, Base


class Tariff(Base):
    """Price per kilowatt-hour. `standing`: read, read second-hand, from memory, or own bill."""

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
