"""Sound, power and ozone measurements; one row for each repeat."""

from datetime import date

from sqlalchemy import CheckConstraint, ForeignKey, Index
from sqlalchemy.orm import Mapped, mapped_column

from app.storage.models.base import STRICT, Base


class SoundMeasurement(Base):
    """A-weighted level of a running unit at a distance, with the background level with the unit off."""

    __tablename__ = "sound_measurements"
    __table_args__ = (
        CheckConstraint("distance_m > 0", name="distance_m"),
        CheckConstraint("environment IN ('free field', 'indoor')", name="environment"),
        Index("ix_sound_measurements_unit", "unit_under_test_id", "setting_id"),
        STRICT,
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    unit_under_test_id: Mapped[int] = mapped_column(ForeignKey("units_under_test.id", ondelete="CASCADE"))
    setting_id: Mapped[int] = mapped_column(ForeignKey("speed_settings.id", ondelete="CASCADE"))
    level_dba: Mapped[float]
    background_dba: Mapped[float | None]
    distance_m: Mapped[float]
    position: Mapped[str] = mapped_column(default="front")
    environment: Mapped[str] = mapped_column(default="indoor")
    instrument: Mapped[str] = mapped_column(default="")
    instrument_class: Mapped[str] = mapped_column(default="")
    measured_on: Mapped[date]
    measured_by: Mapped[str] = mapped_column(default="")
    notes: Mapped[str] = mapped_column(default="")


class PowerMeasurement(Base):
    """Watts of a unit at a setting, or on standby (`setting_id` empty)."""

    __tablename__ = "power_measurements"
    __table_args__ = (
        CheckConstraint("power_w >= 0", name="power_w"),
        CheckConstraint("uncertainty_w >= 0", name="uncertainty_w"),
        Index("ix_power_measurements_unit", "unit_under_test_id", "setting_id"),
        STRICT,
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    unit_under_test_id: Mapped[int] = mapped_column(ForeignKey("units_under_test.id", ondelete="CASCADE"))
    setting_id: Mapped[int | None] = mapped_column(ForeignKey("speed_settings.id", ondelete="CASCADE"))
    power_w: Mapped[float]
    uncertainty_w: Mapped[float]
    instrument: Mapped[str] = mapped_column(default="")
    measured_on: Mapped[date]
    measured_by: Mapped[str] = mapped_column(default="")
    log_id: Mapped[int | None] = mapped_column(ForeignKey("logs.id"))
    notes: Mapped[str] = mapped_column(default="")


class OzoneTest(Base):
    """Recorded ozone value of a unit; no row means "not measured"."""

    __tablename__ = "ozone_tests"
    __table_args__ = (CheckConstraint("ozone_ppb >= 0", name="ozone_ppb"), STRICT)

    id: Mapped[int] = mapped_column(primary_key=True)
    unit_under_test_id: Mapped[int] = mapped_column(ForeignKey("units_under_test.id", ondelete="CASCADE"), index=True)
    ozone_ppb: Mapped[float]
    below_detection: Mapped[bool] = mapped_column(default=False)
    method: Mapped[str] = mapped_column(default="")
    tested_on: Mapped[date]
    source: Mapped[str] = mapped_column(default="")
