"""Third-party ratings and makers' claims, each with its source and the day it was seen."""

from datetime import date

from sqlalchemy import CheckConstraint, ForeignKey
from sqlalchemy.orm import DeclarativeBase, Mapped, mapped_column

from app.storage.models.base import STRICT, Base


class FileBase(DeclarativeBase):
    metadata, type_annotation_map = Base.metadata, Base.type_annotation_map


class Rating(FileBase):
    """A certified clean air rate for one aerosol. `listed` False: not listed on that day.

    `sister_model` names another model that was certified; such a rating never fills the unit's own column.
    """

    __tablename__ = "ratings"
    __table_args__ = (
        CheckConstraint("aerosol IN ('smoke', 'dust', 'pollen')", name="aerosol"),
        CheckConstraint("listed = 0 OR clean_air_delivery_rate_m3_per_h IS NOT NULL", name="listed_has_rate"),
        STRICT,
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    unit_under_test_id: Mapped[int] = mapped_column(ForeignKey("units_under_test.id", ondelete="CASCADE"), index=True)
    aerosol: Mapped[str]
    listed: Mapped[bool] = mapped_column(default=True)
    clean_air_delivery_rate_m3_per_h: Mapped[float | None]
    stated_value: Mapped[float | None]
    stated_unit: Mapped[str] = mapped_column(default="m³/h")
    sister_model: Mapped[str] = mapped_column(default="")
    test_standard: Mapped[str] = mapped_column(default="")
    edition: Mapped[str] = mapped_column(default="")
    source: Mapped[str] = mapped_column(default="")
    seen_on: Mapped[date]


class Claim(FileBase):
    """A maker's claim. `quantity` is one of the names in `app/compute/clean_air/claims.py`."""

    __tablename__ = "claims"
    __table_args__ = (STRICT,)

    id: Mapped[int] = mapped_column(primary_key=True)
    unit_under_test_id: Mapped[int] = mapped_column(ForeignKey("units_under_test.id", ondelete="CASCADE"), index=True)
    quantity: Mapped[str]
    value: Mapped[float | None]
    unit_symbol: Mapped[str] = mapped_column(default="")
    bound: Mapped[str] = mapped_column(default="about")  # about, at least, at most
    setting_id: Mapped[int | None] = mapped_column(ForeignKey("speed_settings.id", ondelete="SET NULL"))
    aerosol: Mapped[str] = mapped_column(default="")
    distance_m: Mapped[float | None]
    room_area_m2: Mapped[float | None]
    wording: Mapped[str]
    where_seen: Mapped[str] = mapped_column(default="")
    seen_on: Mapped[date]
