"""Models of a trial: conditions, log, marks, and results of each channel."""

from datetime import datetime
from typing import Any, Literal

from pydantic import BaseModel

from app.compute.clean_air.conversions import CUBIC_FEET_PER_MINUTE_PER_M3_PER_H
from app.compute.decay.verdict import Verdict
from app.reading_files.headers.channels import particle_size
from app.services.logs.trial_fields import NewTrial, TrialMarks
from app.services.logs.trial_kinds import EMPTY_ROOM
from app.web.api.derived import answer
from app.web.api.shapes import FromStore, MeasuredShape, NoteShape, OfBench, VerdictShape

Kind = Literal["unit running", "empty room"]
ClearLevelKind = Literal["absolute", "share_of_start", "background"]


class UnitNamed(FromStore):
    id: int
    maker: str
    model: str


class Named(FromStore):
    id: int
    name: str


class RoomNamed(Named):
    room_volume_m3: float
    room_volume_uncertainty_m3: float


class SourceNamed(Named):
    aerosol: str


@answer(TrialMarks)
class MarksShape(FromStore):
    """Marks set by a person, in seconds after the log's first reading; null: detected from the data.

    `background_ug_m3` applies to the mass channels; the trial's own clear level overrides the bench's.
    """

    clear_level_kind: ClearLevelKind | None


class LogShape(FromStore):
    """The log as read. `clock_is_known` is false for elapsed time or an impossible date."""

    sha256: str
    file_name: str
    readings: int
    rows_skipped: int
    interval_s: float
    started_at: datetime
    clock_is_known: bool
    timezone: str
    box: str
    channels: list[str]
    notes: list[str]


class TimeToClearShape(BaseModel):
    """First sustained crossing of the clear level, in minutes from unit on. Not reached: later than the end of the run.

    `uncertainty` with its interval is null if the level was not reached, or if it cannot be estimated.
    """

    reached: bool
    value: float | None
    uncertainty: float | None
    low_95: float | None
    high_95: float | None
    not_before: float | None
    predicted: MeasuredShape | None


class SystematicShape(BaseModel):
    """A line of the systematic budget that the intervals include; 0 for what is assumed and one log cannot show."""

    source: str
    relative_uncertainty: float
    basis: str


class SizeShape(FromStore):
    """Size of the particles that a number channel counts; `high_um` is null where it counts everything above."""

    low_um: float
    high_um: float | None


class ChannelShape(FromStore):
    """Results of one channel; a missing one is null, and a note says why. Times count from unit on.

    `unit_on_min` counts from the first reading; its uncertainty is 0 with a mark. Levels are in `unit`;
    `start_level_measured` and `background_level_measured` are the same with their uncertainty.
    `clear_level` is a choice of the bench or the trial, `window_sensitivity_per_h` and
    `humidity_uncertainty_per_h` are themselves parts of the uncertainty. `noise_prior_trials`: of the same logger, from
    which its noise was learned; 0 for generic noise, null in results older than this.
    """

    verdict: VerdictShape
    unit: str
    particle_size: SizeShape | None
    usable: bool
    unit_on_s: float
    unit_on_min: MeasuredShape | None
    end_s: float
    start_level: float
    start_level_measured: MeasuredShape | None
    background_level: float | None
    background_level_measured: MeasuredShape | None
    clear_level: float
    fit_window_min: tuple[float, float] | None
    readings_fitted: int
    total_decay_per_h: MeasuredShape | None
    natural_decay_per_h: MeasuredShape | None
    clean_air_delivery_rate_m3_per_h: MeasuredShape | None
    clean_air_delivery_rate_cfm: MeasuredShape | None
    air_changes_per_h: MeasuredShape | None
    time_to_clear_min: TimeToClearShape
    standard_clearing_time_min: MeasuredShape | None
    r_squared: float | None
    window_sensitivity_per_h: float | None
    humidity_uncertainty_per_h: float | None
    noise_prior_trials: int | None
    systematic: list[SystematicShape]
    empty_room_trials: list[int]
    method_version: str
    notes: list[NoteShape]


class Exclusion(BaseModel):
    at: datetime
    by: str
    why: str


@answer(NewTrial, without=("unit_under_test_id", "setting_id", "room_id", "smoke_source_id", "logger_id", "profile_id"))
class TrialShape(FromStore):
    """A trial with its results by channel. `logger_overdue` is a sentence if its logger was past its check date."""

    id: int
    kind: Kind
    unit_under_test: UnitNamed | None
    setting: Named | None
    room: RoomNamed
    smoke_source: SourceNamed | None
    logger: Named | None
    logger_overdue: str
    started_at: datetime
    marks: MarksShape
    log: LogShape
    excluded: Exclusion | None
    trashed_at: datetime | None
    channels: dict[str, ChannelShape]


class TrialInFull(TrialShape, OfBench):
    """A trial by itself."""


class TrialList(OfBench):
    trials: list[TrialShape]
    next_cursor: str | None


def trial_shape(detail: Any) -> TrialShape:
    """Model of a TrialDetail of app/services/trials/detail.py, which is not imported here because it needs scipy."""
    trial = detail.trial
    log = trial.log
    excluded = None
    if trial.excluded_at is not None:
        excluded = Exclusion(at=trial.excluded_at, by=trial.excluded_by, why=trial.excluded_why)
    return TrialShape.of(
        trial,
        **{
            "unit_under_test": trial.unit_under_test and UnitNamed.model_validate(trial.unit_under_test),
            "setting": trial.setting and Named.model_validate(trial.setting),
            "room": RoomNamed.model_validate(trial.room),
            "smoke_source": trial.smoke_source and SourceNamed.model_validate(trial.smoke_source),
            "logger_overdue": detail.logger_overdue,
            "logger": trial.logger and Named.model_validate(trial.logger),
            "marks": MarksShape.model_validate(trial),
            "log": LogShape.of(log, channels=[column.channel for column in log.channels], notes=log.notes.splitlines()),
            "excluded": excluded,
            "channels": {
                channel.channel: _channel_shape(channel, is_empty_room=trial.kind == EMPTY_ROOM)
                for channel in detail.channels
            },
        },
    )


def measured_shape(quantity: Any, factor: float = 1.0) -> MeasuredShape | None:
    """A measured quantity, or null; `factor` changes its unit."""
    return None if quantity is None else MeasuredShape.of(quantity).times(factor)


def _note(code: str, message: str) -> NoteShape:
    return NoteShape(code=code, severity="fine", message=message, value=None, limit=None, unit="", at_min=None)


def _verdict(verdict: Verdict) -> VerdictShape:
    words = [advice.words for advice in verdict.advice]
    return VerdictShape(status=verdict.status, reasons=list(verdict.reasons), advice=words)


def _why_null(channel: Any, is_empty_room: bool) -> list[NoteShape]:
    """A note for each quantity that cannot exist for this trial, so that every null is explained."""
    notes = []
    if is_empty_room:
        notes.append(
            _note(
                "empty_room",
                "No unit was running: the total decay is the natural decay of the room, and there is no clean air "
                "delivery rate and no air change rate of a unit.",
            )
        )
    if channel.predicted_clear_min is None and channel.total_decay is not None:
        notes.append(
            _note(
                "no_predicted_time",
                "No time to clear is predicted: the fitted curve does not reach the clear level at a determinable "
                "time.",
            )
        )
    return notes


def _channel_shape(channel: Any, *, is_empty_room: bool) -> ChannelShape:
    result, size = channel.result, particle_size(channel.channel)
    window = None
    if result.fit_window_start_min is not None and result.fit_window_end_min is not None:
        window = (result.fit_window_start_min, result.fit_window_end_min)
    return ChannelShape.of(
        result,
        **{
            "verdict": _verdict(channel.verdict),
            "particle_size": None if size is None else SizeShape.model_validate(size),
            "unit_on_min": measured_shape(channel.unit_on_min),
            "start_level_measured": measured_shape(channel.start_level),
            "background_level_measured": measured_shape(channel.background_level),
            "fit_window_min": window,
            "total_decay_per_h": measured_shape(channel.total_decay),
            "natural_decay_per_h": measured_shape(channel.natural_decay),
            "clean_air_delivery_rate_m3_per_h": measured_shape(channel.clean_air_delivery_rate),
            "clean_air_delivery_rate_cfm": measured_shape(
                channel.clean_air_delivery_rate, CUBIC_FEET_PER_MINUTE_PER_M3_PER_H
            ),
            "air_changes_per_h": measured_shape(channel.air_changes),
            "time_to_clear_min": _time_to_clear(channel),
            "standard_clearing_time_min": measured_shape(channel.standard_clearing_time),
            "systematic": [
                SystematicShape(source=line.source, relative_uncertainty=line.relative_uncertainty, basis=line.basis)
                for line in channel.systematic
            ],
            "empty_room_trials": list(channel.empty_room_trials),
            "notes": [NoteShape.of_note(note) for note in channel.notes] + _why_null(channel, is_empty_room),
        },
    )


def _time_to_clear(channel: Any) -> TimeToClearShape:
    result, time = channel.result, channel.time_to_clear
    return TimeToClearShape(
        reached=result.cleared,
        value=result.time_to_clear_min,
        uncertainty=None if time is None else time.uncertainty,
        low_95=None if time is None else max(0.0, time.low_95),
        high_95=None if time is None else time.high_95,
        not_before=result.not_cleared_before_min,
        predicted=measured_shape(channel.predicted_clear_min),
    )
