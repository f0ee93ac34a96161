"""Recorded sound of units: raw file, calibration, and analysis results."""

from datetime import date, datetime

from sqlalchemy import CheckConstraint, ForeignKey, Index, UniqueConstraint
from sqlalchemy.orm import DeclarativeBase, Mapped, mapped_column, relationship

from app.storage.models.base import STRICT, Base


class FileBase(DeclarativeBase):
    metadata, type_annotation_map = Base.metadata, Base.type_annotation_map


class SoundClip(FileBase):
    """A clip of a unit at a setting. Levels are dB(A) where it is calibrated, otherwise dB re full scale."""

    __tablename__ = "sound_clips"
    __table_args__ = (
        UniqueConstraint("setting_id", "sha256"),
        CheckConstraint("calibration_kind IN ('none', 'tone', 'known level')", name="calibration_kind"),
        CheckConstraint("(calibration_kind = 'none') = (pascal_per_unit IS NULL)", name="calibrated"),
        CheckConstraint("distance_m > 0", name="distance_m"),
        Index("ix_sound_clips_unit", "unit_under_test_id", "setting_id"),
        STRICT,
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    unit_under_test_id: Mapped[int] = mapped_column(ForeignKey("units_under_test.id", ondelete="CASCADE"))
    setting_id: Mapped[int] = mapped_column(ForeignKey("speed_settings.id", ondelete="CASCADE"))
    sha256: Mapped[str] = mapped_column(ForeignKey("raw_files.sha256"))
    file_name: Mapped[str]
    channel: Mapped[int] = mapped_column(default=1)  # of the file, counted from 1
    recorded_on: Mapped[date]
    recorded_by: Mapped[str] = mapped_column(default="")
    instrument: Mapped[str] = mapped_column(default="")
    distance_m: Mapped[float]
    calibration_kind: Mapped[str] = mapped_column(default="none")
    calibration_level_db: Mapped[float | None]
    calibration_sha256: Mapped[str | None] = mapped_column(ForeignKey("raw_files.sha256"))
    calibration_tone_hz: Mapped[float | None]
    pascal_per_unit: Mapped[float | None]
    duration_s: Mapped[float]
    sample_rate_hz: Mapped[float]
    equivalent_level_dba: Mapped[float]
    fast_maximum_dba: Mapped[float]
    l10_dba: Mapped[float]
    l90_dba: Mapped[float]
    peak: Mapped[float]
    overloaded: Mapped[bool] = mapped_column(default=False)
    tone_method: Mapped[str] = mapped_column(default="")
    character_words: Mapped[str] = mapped_column(default="")  # one sentence a line
    cautions: Mapped[str] = mapped_column(default="")  # one sentence a line
    notes: Mapped[str] = mapped_column(default="")
    stored_at: Mapped[datetime]

    bands: Mapped[list["SoundClipBand"]] = relationship(
        lazy="raise", order_by="SoundClipBand.nominal_hz", cascade="all, delete-orphan"
    )
    tones: Mapped[list["SoundClipTone"]] = relationship(
        lazy="raise", order_by="SoundClipTone.rank", cascade="all, delete-orphan"
    )


class SoundClipBand(FileBase):
    """One third octave of a clip."""

    __tablename__ = "sound_clip_bands"
    __table_args__ = (STRICT,)

    clip_id: Mapped[int] = mapped_column(ForeignKey("sound_clips.id", ondelete="CASCADE"), primary_key=True)
    nominal_hz: Mapped[float] = mapped_column(primary_key=True)
    level_db: Mapped[float]
    level_dba: Mapped[float]


class SoundClipTone(FileBase):
    """A tone found in a clip; rank 1 is the most prominent."""

    __tablename__ = "sound_clip_tones"
    __table_args__ = (STRICT,)

    clip_id: Mapped[int] = mapped_column(ForeignKey("sound_clips.id", ondelete="CASCADE"), primary_key=True)
    rank: Mapped[int] = mapped_column(primary_key=True)
    frequency_hz: Mapped[float]
    prominence_ratio_db: Mapped[float]
    criterion_db: Mapped[float]
    prominent: Mapped[bool]
