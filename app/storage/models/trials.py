"""Trials and the results computed from them, each with the method version that computed it."""

from datetime import date, datetime

from sqlalchemy import CheckConstraint, ForeignKey, Index, UniqueConstraint
from sqlalchemy.orm import DeclarativeBase, Mapped, mapped_column, relationship

from app.storage.models.base import STRICT, Base
from app.storage.models.loggers import Logger, SmokeSource
from app.storage.models.logs import Log
from app.storage.models.rooms import Room
from app.storage.models.units_under_test import SpeedSetting, UnitUnderTest


class FileBase(DeclarativeBase):
    metadata, type_annotation_map = Base.metadata, Base.type_annotation_map


class Trial(FileBase):
    """One run in one room, with the unit running or the room empty. Marks are seconds after the log's first reading; an
    empty mark is detected from the data.
    """

    __tablename__ = "trials"
    __table_args__ = (
        CheckConstraint("kind IN ('unit running', 'empty room')", name="kind"),
        CheckConstraint(
            "(kind = 'unit running') = (unit_under_test_id IS NOT NULL AND setting_id IS NOT NULL)",
            name="kind_has_unit",
        ),
        CheckConstraint("excluded_at IS NULL OR length(excluded_why) > 0", name="excluded_why"),
        Index("ix_trials_unit", "unit_under_test_id", "setting_id"),
        Index("ix_trials_room", "room_id", "kind", "setting_id", "trashed_at"),
        STRICT,
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    kind: Mapped[str]
    unit_under_test_id: Mapped[int | None] = mapped_column(ForeignKey("units_under_test.id"))
    setting_id: Mapped[int | None] = mapped_column(ForeignKey("speed_settings.id"))
    room_id: Mapped[int] = mapped_column(ForeignKey("rooms.id"))
    smoke_source_id: Mapped[int | None] = mapped_column(ForeignKey("smoke_sources.id"))
    logger_id: Mapped[int | None] = mapped_column(ForeignKey("loggers.id"))
    log_id: Mapped[int] = mapped_column(ForeignKey("logs.id"))
    started_at: Mapped[datetime]
    tested_by: Mapped[str] = mapped_column(default="")
    filter_state: Mapped[str] = mapped_column(default="")  # such as "new filter", "after 900 h"
    smoke_start_s: Mapped[float | None]
    smoke_end_s: Mapped[float | None]
    unit_on_s: Mapped[float | None]
    fit_start_s: Mapped[float | None]
    fit_end_s: Mapped[float | None]
    end_s: Mapped[float | None]
    background_ug_m3: Mapped[float | None]  # given by a person; applies to mass channels
    clear_level_kind: Mapped[str | None]  # None: the bench's default
    clear_level_value: Mapped[float | None]
    notes: Mapped[str] = mapped_column(default="")
    excluded_at: Mapped[datetime | None]
    excluded_by: Mapped[str] = mapped_column(default="")
    excluded_why: Mapped[str] = mapped_column(default="")
    created_at: Mapped[datetime]
    trashed_at: Mapped[datetime | None]

    unit_under_test: Mapped[UnitUnderTest | None] = relationship(lazy="raise")
    setting: Mapped[SpeedSetting | None] = relationship(lazy="raise")
    room: Mapped[Room] = relationship(lazy="raise")
    smoke_source: Mapped[SmokeSource | None] = relationship(lazy="raise")
    logger: Mapped[Logger | None] = relationship(lazy="raise")
    log: Mapped[Log] = relationship(lazy="raise")
    results: Mapped[list["ChannelResult"]] = relationship(lazy="raise", order_by="ChannelResult.channel")


class NaturalDecayPool(FileBase):
    """Natural decay of one room and channel in one week, from the empty-room runs in `natural_decay_pool_runs`."""

    __tablename__ = "natural_decay_pools"
    __table_args__ = (Index("ix_natural_decay_pools_room", "room_id", "channel"), STRICT)

    id: Mapped[int] = mapped_column(primary_key=True)
    room_id: Mapped[int] = mapped_column(ForeignKey("rooms.id"))
    channel: Mapped[str]
    week_of: Mapped[date | None]  # the day in the middle of the week; empty in pools older than the column
    natural_decay_per_h: Mapped[float]
    uncertainty_per_h: Mapped[float]
    degrees_of_freedom: Mapped[float | None]  # None: infinite
    between_run_sd_per_h: Mapped[float]
    between_run_source: Mapped[str] = mapped_column(default="", server_default="")  # these runs, or bench-wide
    drift_sd_per_month: Mapped[float | None]  # random walk of the level in thirty days [1/h]
    # the same natural decay with the spread between days, for the result of a single trial
    on_one_day_uncertainty_per_h: Mapped[float | None]
    on_one_day_degrees_of_freedom: Mapped[float | None]
    heterogeneity_p: Mapped[float | None]  # probability that the runs differ by no more than their fits allow
    number_of_runs: Mapped[int]
    first_run_on: Mapped[date]
    last_run_on: Mapped[date]
    method_version: Mapped[str]

    runs: Mapped[list["NaturalDecayPoolRun"]] = relationship(lazy="raise", cascade="all, delete-orphan")


class NaturalDecayPoolRun(FileBase):
    """An empty-room trial used by a pool, and its weight in the mean."""

    __tablename__ = "natural_decay_pool_runs"
    __table_args__ = (STRICT,)

    pool_id: Mapped[int] = mapped_column(ForeignKey("natural_decay_pools.id", ondelete="CASCADE"), primary_key=True)
    trial_id: Mapped[int] = mapped_column(ForeignKey("trials.id", ondelete="CASCADE"), primary_key=True)
    weight: Mapped[float]


class ChannelResult(FileBase):
    """Result of the analysis of one channel of one trial. Times are minutes from unit on; NULL means that the quantity
    does not exist, and a note says why. Uncertainties are standard; degrees of freedom NULL: infinite.
    """

    __tablename__ = "channel_results"
    __table_args__ = (UniqueConstraint("trial_id", "channel"), Index("ix_channel_results_pool", "pool_id"), STRICT)

    id: Mapped[int] = mapped_column(primary_key=True)
    trial_id: Mapped[int] = mapped_column(ForeignKey("trials.id", ondelete="CASCADE"))
    channel: Mapped[str]
    unit: Mapped[str]
    method_version: Mapped[str]
    computed_at: Mapped[datetime]
    usable: Mapped[bool]

    # the run, on the log's clock
    smoke_start_s: Mapped[float | None]
    peak_s: Mapped[float | None]
    unit_on_s: Mapped[float]
    unit_on_found: Mapped[bool]
    unit_on_uncertainty_s: Mapped[float | None]  # empty in results older than the column
    end_s: Mapped[float]
    interval_s: Mapped[float]
    readings: Mapped[int]
    start_level: Mapped[float]
    start_level_uncertainty: Mapped[float | None]  # these two are empty in results older than the columns
    peak_level: Mapped[float]
    end_level: Mapped[float]
    relative_humidity_pct: Mapped[float | None]  # mean from unit on to the end, where it was logged

    # the fit
    fit_converged: Mapped[bool]
    why_not: Mapped[str] = mapped_column(default="")
    background_level: Mapped[float | None]
    background_uncertainty: Mapped[float | None]
    background_choice: Mapped[str] = mapped_column(default="")
    amplitude: Mapped[float | None]
    amplitude_uncertainty: Mapped[float | None]
    covariance_background_amplitude: Mapped[float | None]
    covariance_background_rate: Mapped[float | None]
    covariance_amplitude_rate: Mapped[float | None]
    fit_window_start_min: Mapped[float | None]
    fit_window_end_min: Mapped[float | None]
    readings_fitted: Mapped[int] = mapped_column(default=0)
    total_decay_per_h: Mapped[float | None]
    total_decay_uncertainty_per_h: Mapped[float | None]
    total_decay_degrees_of_freedom: Mapped[float | None]
    statistical_uncertainty_per_h: Mapped[float | None]
    window_sensitivity_per_h: Mapped[float | None]
    r_squared: Mapped[float | None]
    residual_spread: Mapped[float | None]
    lag_one_autocorrelation: Mapped[float | None]
    humidity_uncertainty_per_h: Mapped[float | None]  # part of the uncertainty; empty in results older than the column
    background_drift_uncertainty_per_h: Mapped[float | None]  # likewise
    warm_up_uncertainty_per_h: Mapped[float | None]  # likewise
    curvature_uncertainty_per_h: Mapped[float | None]  # of a curvature that a check of the logger shows; empty: none
    # probability of each kind of noise before this trial, and of how many trials of the logger; empty: generic
    noise_prior: Mapped[str | None]
    noise_prior_trials: Mapped[int | None]
    noise_evidence: Mapped[str | None]  # log likelihood of each kind in this trial; empty: it shows nothing
    noise_learned: Mapped[bool | None]  # whether a re-analysis of the bench has learned from it
    stamped_late_s: Mapped[float | None]  # the times of the run are corrected for it; empty: not

    # with natural decay and room volume
    pool_id: Mapped[int | None] = mapped_column(ForeignKey("natural_decay_pools.id"))
    clean_air_delivery_rate_m3_per_h: Mapped[float | None]
    clean_air_delivery_rate_uncertainty: Mapped[float | None]
    clean_air_delivery_rate_degrees_of_freedom: Mapped[float | None]
    clean_air_delivery_rate_low_95: Mapped[float | None]
    clean_air_delivery_rate_high_95: Mapped[float | None]
    # spread of the room's check unit, over its rate, that the interval includes; empty without a check unit
    clean_air_delivery_rate_check_unit_share: Mapped[float | None]

    # clearing
    clear_level: Mapped[float]
    cleared: Mapped[bool]
    time_to_clear_min: Mapped[float | None]
    time_to_clear_uncertainty_min: Mapped[float | None]
    not_cleared_before_min: Mapped[float | None]
    predicted_clear_min: Mapped[float | None]
    predicted_clear_uncertainty_min: Mapped[float | None]
    standard_clearing_time_min: Mapped[float | None]
    standard_clearing_time_uncertainty_min: Mapped[float | None]
    standard_clearing_time_low_95_min: Mapped[float | None]
    standard_clearing_time_high_95_min: Mapped[float | None]

    notes: Mapped[list["ResultNote"]] = relationship(
        lazy="raise", cascade="all, delete-orphan", order_by="ResultNote.position"
    )
    pool: Mapped[NaturalDecayPool | None] = relationship(lazy="raise")


class ResultNote(FileBase):
    """A note on a result: code, severity, evidence, text, and the action that it advises with its values."""

    __tablename__ = "result_notes"
    __table_args__ = (CheckConstraint("severity IN ('fine', 'care', 'unusable')", name="severity"), STRICT)

    result_id: Mapped[int] = mapped_column(ForeignKey("channel_results.id", ondelete="CASCADE"), primary_key=True)
    position: Mapped[int] = mapped_column(primary_key=True)
    code: Mapped[str]
    severity: Mapped[str]
    message: Mapped[str]
    value: Mapped[float | None]
    limit: Mapped[float | None]
    unit: Mapped[str] = mapped_column(default="")
    at_min: Mapped[float | None]
    advice: Mapped[str] = mapped_column(default="", server_default="")  # empty in notes older than the column
    advice_value: Mapped[float | None]
    advice_other_value: Mapped[float | None]
