"""Smoke sources, loggers with their checks, and the profiles for their files."""

from datetime import date, datetime

from sqlalchemy import CheckConstraint, ForeignKey, Index, UniqueConstraint
from sqlalchemy.orm import DeclarativeBase, Mapped, mapped_column, relationship

from app.storage.models.base import STRICT, Base


class FileBase(DeclarativeBase):
    metadata, type_annotation_map = Base.metadata, Base.type_annotation_map


class SmokeSource(FileBase):
    """Smoke source of a trial. `aerosol` limits what a result can be compared with: smoke, dust or pollen."""

    __tablename__ = "smoke_sources"
    __table_args__ = (
        UniqueConstraint("name"),
        CheckConstraint("aerosol IN ('smoke', 'dust', 'pollen')", name="aerosol"),
        STRICT,
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    name: Mapped[str]
    aerosol: Mapped[str] = mapped_column(default="smoke")
    notes: Mapped[str] = mapped_column(default="")


class LoggerProfile(FileBase):
    """How to read the files of one type of logger: zone, date order, header line, and the channel of each column."""

    __tablename__ = "logger_profiles"
    __table_args__ = (UniqueConstraint("name"), STRICT)

    id: Mapped[int] = mapped_column(primary_key=True)
    name: Mapped[str]
    timezone: Mapped[str] = mapped_column(default="")
    box: Mapped[str] = mapped_column(default="")
    day_first: Mapped[bool | None]
    header_line: Mapped[int | None]  # that names the columns, from 1; None: detected
    created_at: Mapped[datetime]

    columns: Mapped[list["LoggerProfileColumn"]] = relationship(lazy="raise", cascade="all, delete-orphan")


class LoggerProfileColumn(FileBase):
    """Header of one column, and its channel ("" excludes it)."""

    __tablename__ = "logger_profile_columns"
    __table_args__ = (STRICT,)

    profile_id: Mapped[int] = mapped_column(ForeignKey("logger_profiles.id", ondelete="CASCADE"), primary_key=True)
    header: Mapped[str] = mapped_column(primary_key=True)
    channel: Mapped[str]
    file_unit: Mapped[str] = mapped_column(default="")


class Logger(FileBase):
    """An instrument that writes logs. Saturation and response time come from its maker or from a check."""

    __tablename__ = "loggers"
    __table_args__ = (UniqueConstraint("name"), STRICT)

    id: Mapped[int] = mapped_column(primary_key=True)
    name: Mapped[str]
    profile_id: Mapped[int | None] = mapped_column(ForeignKey("logger_profiles.id", ondelete="SET NULL"))
    principle: Mapped[str] = mapped_column(default="")
    response_time_s: Mapped[float | None]
    saturation_level_ug_m3: Mapped[float | None]
    calibration: Mapped[str] = mapped_column(default="")
    notes: Mapped[str] = mapped_column(default="")
    check_interval_days: Mapped[int | None]
    averaging_s: Mapped[float | None]
    time_stamp: Mapped[str] = mapped_column(default="")  # start, middle or end of the averaging time
    on_before_min: Mapped[float | None]  # the sensor is on so long before a log begins

    checks: Mapped[list["LoggerCheck"]] = relationship(
        lazy="raise", viewonly=True, foreign_keys="LoggerCheck.logger_id", order_by="LoggerCheck.checked_on"
    )


class LoggerCheck(FileBase):
    """A check of a logger, with its result. The logs stay as they are; each quantity is empty where the kind of check
    does not give it.

    kind : "collocation" and "warm-up" beside a reference logger, "zero" in clean air
    clean_from_min, clean_to_min : stretch of clean air in the log, None for all of it
    expected_offset_s : offset of the clocks around which they were searched
    """

    __tablename__ = "logger_checks"
    __table_args__ = (
        CheckConstraint("kind IN ('collocation', 'zero', 'warm-up')", name="kind"),
        CheckConstraint("(reference_logger_id IS NULL) = (reference_log_id IS NULL)", name="reference"),
        Index("ix_logger_checks_logger", "logger_id", "checked_on"),
        STRICT,
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    kind: Mapped[str]
    logger_id: Mapped[int] = mapped_column(ForeignKey("loggers.id"))
    reference_logger_id: Mapped[int | None] = mapped_column(ForeignKey("loggers.id"))
    log_id: Mapped[int] = mapped_column(ForeignKey("logs.id"))
    reference_log_id: Mapped[int | None] = mapped_column(ForeignKey("logs.id"))
    channel: Mapped[str]
    unit: Mapped[str]
    checked_on: Mapped[date]
    clean_from_min: Mapped[float | None]
    clean_to_min: Mapped[float | None]
    expected_offset_s: Mapped[float] = mapped_column(default=0.0)
    checked_by: Mapped[str] = mapped_column(default="")
    notes: Mapped[str] = mapped_column(default="")
    created_at: Mapped[datetime]
    clock_offset_s: Mapped[float | None]
    clock_offset_uncertainty_s: Mapped[float | None]
    averaging_s: Mapped[float | None]
    means: Mapped[int | None]
    highest_level: Mapped[float | None]
    slope: Mapped[float | None]
    slope_uncertainty: Mapped[float | None]
    slope_low_95: Mapped[float | None]
    slope_high_95: Mapped[float | None]
    intercept: Mapped[float | None]
    intercept_uncertainty: Mapped[float | None]
    intercept_low_95: Mapped[float | None]
    intercept_high_95: Mapped[float | None]
    curvature: Mapped[float | None]
    curvature_uncertainty: Mapped[float | None]
    curvature_low_95: Mapped[float | None]
    curvature_high_95: Mapped[float | None]
    departure_pct: Mapped[float | None]
    r_squared: Mapped[float | None]
    rmse: Mapped[float | None]
    nrmse_pct: Mapped[float | None]
    loggers_together: Mapped[int | None]
    precision_sd: Mapped[float | None]
    precision_cv_pct: Mapped[float | None]
    zero_level: Mapped[float | None]
    zero_level_uncertainty: Mapped[float | None]
    zero_level_low_95: Mapped[float | None]
    zero_level_high_95: Mapped[float | None]
    detection_limit: Mapped[float | None]
    detection_limit_low_95: Mapped[float | None]
    detection_limit_high_95: Mapped[float | None]
    settled_after_min: Mapped[float | None]
    first_excess: Mapped[float | None]
    saturated_readings: Mapped[int] = mapped_column(default=0)
    result_notes: Mapped[str] = mapped_column(default="")  # one sentence a line

    logger: Mapped[Logger] = relationship(lazy="raise", foreign_keys=[logger_id])
    reference_logger: Mapped[Logger | None] = relationship(lazy="raise", foreign_keys=[reference_logger_id])
