"""Results of a setting over its trials, and of the bench over its settings, each with the method version."""

from datetime import date, datetime

from sqlalchemy import CheckConstraint, ForeignKey, Index, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column

from app.storage.models.base import STRICT, Base


class SettingSummary(Base):
    """All usable trials of one setting and channel combined: one line of the ranking.

    Written whenever a trial, an empty-room run or an exclusion changes. The independent and the shared parts (natural
    decay, volume) of the uncertainty of the clean air delivery rate are stored separately, because shared parts cancel
    when two units are compared.
    """

    __tablename__ = "setting_summaries"
    __table_args__ = (
        UniqueConstraint("setting_id", "channel", "aerosol", "room_id"),
        Index("ix_setting_summaries_unit", "unit_under_test_id", "channel"),
        Index("ix_setting_summaries_offered", "channel", "aerosol", "room_id", "trials"),
        STRICT,
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    unit_under_test_id: Mapped[int] = mapped_column(ForeignKey("units_under_test.id", ondelete="CASCADE"))
    setting_id: Mapped[int] = mapped_column(ForeignKey("speed_settings.id", ondelete="CASCADE"))
    room_id: Mapped[int] = mapped_column(ForeignKey("rooms.id", ondelete="CASCADE"))
    channel: Mapped[str]
    aerosol: Mapped[str]
    method_version: Mapped[str]
    computed_at: Mapped[datetime]
    trials: Mapped[int]
    usable_trials: Mapped[int]
    excluded_trials: Mapped[int]
    censored_trials: Mapped[int]
    latest_trial_id: Mapped[int]
    latest_trial_on: Mapped[date]
    first_trial_on: Mapped[date | None]  # empty in summaries older than the column
    worst_severity: Mapped[str] = mapped_column(default="fine")

    total_decay_per_h: Mapped[float | None]
    total_decay_uncertainty_per_h: Mapped[float | None]
    total_decay_degrees_of_freedom: Mapped[float | None]
    between_trial_sd_per_h: Mapped[float | None]
    between_trial_source: Mapped[str] = mapped_column(default="")  # a source of `statistics/repeats.py`
    heterogeneous: Mapped[bool] = mapped_column(default=False)
    # of all usable trials, if it is one: its linearity is a part of the total decay that cancels in ratios; without a
    # foreign key, which SQLite can only add by making the table anew
    logger_id: Mapped[int | None]
    pool_id: Mapped[int | None] = mapped_column(ForeignKey("natural_decay_pools.id"))

    clean_air_delivery_rate_m3_per_h: Mapped[float | None]
    clean_air_delivery_rate_uncertainty: Mapped[float | None]
    clean_air_delivery_rate_degrees_of_freedom: Mapped[float | None]
    clean_air_delivery_rate_low_95: Mapped[float | None]
    clean_air_delivery_rate_high_95: Mapped[float | None]
    measurable: Mapped[bool | None]  # False: not distinguishable from zero; not ranked, shown as "at most"
    at_most_m3_per_h: Mapped[float | None]

    standard_clearing_time_min: Mapped[float | None]
    standard_clearing_time_low_95_min: Mapped[float | None]
    standard_clearing_time_high_95_min: Mapped[float | None]
    time_to_clear_min: Mapped[float | None]  # Kaplan-Meier median over the trials where it exists
    time_to_clear_low_min: Mapped[float | None]
    time_to_clear_high_min: Mapped[float | None]
    not_cleared_before_min: Mapped[float | None]  # the longest run that did not clear, where no median exists
    start_level_low: Mapped[float | None]
    start_level_high: Mapped[float | None]


class BenchRepeatability(Base):
    """Spread between trials of one setting on this bench in one channel, relative to the rate; used for settings with
    few trials. Stored so that all summaries use the same figure.
    """

    __tablename__ = "bench_repeatability"
    __table_args__ = (CheckConstraint("relative_sd >= 0", name="relative_sd"), STRICT)

    channel: Mapped[str] = mapped_column(primary_key=True)
    relative_sd: Mapped[float]
    relative_fit_sd: Mapped[float] = mapped_column(default=0.0, server_default="0")  # before method 2; not written now
    degrees_of_freedom: Mapped[float]
    groups: Mapped[int]
    trials: Mapped[int]
    source: Mapped[str]
    computed_at: Mapped[datetime]
