"""One trial with everything its page and the API show."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from sqlalchemy import Select, select
from sqlalchemy.orm import Session, selectinload

from app.compute.clean_air.rate import air_changes_per_h
from app.compute.decay.systematic import SystematicLine, budget_of
from app.compute.decay.verdict import Verdict, verdict_of
from app.compute.statistics.asymmetric import AsymmetricMeasured
from app.compute.statistics.measured import Measured, measured_or_none
from app.compute.wording.notes import Note
from app.errors import NotFound
from app.reading_files.headers.channels import in_order
from app.services.logs.logger_checks.linearity import Decay, linearity_words
from app.services.logs.logger_checks.record import overdue_words
from app.services.results.rows import stored_fit, stored_note
from app.services.results.trial_results import timing_of
from app.services.trials.list import TrialFilter, filtered_trials
from app.services.units.cursor_lists import ListPart, list_part
from app.storage.models.loggers import Logger
from app.storage.models.logs import Log
from app.storage.models.trials import ChannelResult, NaturalDecayPool, NaturalDecayPoolRun, Trial


@dataclass(frozen=True, slots=True)
class ChannelDetail:
    """Results of one channel. A quantity that does not exist is None, and a note says why.

    natural_decay : of the room on one day; empty_room_trials : the runs behind it
    predicted_clear_min : when the fitted curve reaches the clear level, an estimate
    systematic : budget of the decay rate, and of the room volume where there is a clean air delivery rate
    start_level, background_level, time_to_clear : None also without a known uncertainty
    """

    result: ChannelResult
    total_decay: Measured | None
    natural_decay: Measured | None
    clean_air_delivery_rate: AsymmetricMeasured | None
    air_changes: Measured | None
    standard_clearing_time: AsymmetricMeasured | None
    predicted_clear_min: Measured | None
    start_level: Measured | None
    background_level: Measured | None
    time_to_clear: Measured | None
    unit_on_min: Measured | None
    systematic: tuple[SystematicLine, ...]
    logger_linearity: str
    empty_room_trials: tuple[int, ...]
    notes: tuple[Note, ...]

    @property
    def verdict(self) -> Verdict:
        return verdict_of(self.notes)

    @property
    def channel(self) -> str:
        return self.result.channel


@dataclass(frozen=True, slots=True)
class TrialDetail:
    """A trial and its channels, the particle mass channels first.

    logger_overdue : a sentence if its logger was past its check date
    """

    trial: Trial
    channels: tuple[ChannelDetail, ...]
    logger_overdue: str

    def channel(self, name: str) -> ChannelDetail | None:
        return next((channel for channel in self.channels if channel.channel == name), None)


def trial_detail(session: Session, trial_id: int) -> TrialDetail:
    """Raises NotFound for an unknown trial; a trashed one is found."""
    statement = with_everything(select(Trial).where(Trial.id == trial_id))
    trial = session.scalar(statement.execution_options(populate_existing=True))
    if trial is None:
        raise NotFound("trial", trial_id)
    return detail_of(trial)


def list_details(
    session: Session, wanted: TrialFilter, limit: int = 20, cursor: str | None = None
) -> ListPart[TrialDetail]:
    """Trials with all details, newest first."""
    statement = with_everything(filtered_trials(wanted))
    part = list_part(session, statement, Trial.id, limit, cursor, newest_first=True)
    return ListPart(tuple(detail_of(trial) for trial in part.rows), part.next_cursor)


def with_everything(statement: Select[Trial]) -> Select[Trial]:
    """Adds what `detail_of` needs to a statement, in a few queries whatever the number of trials."""
    results = selectinload(Trial.results)
    return statement.options(
        selectinload(Trial.unit_under_test),
        selectinload(Trial.setting),
        selectinload(Trial.room),
        selectinload(Trial.smoke_source),
        selectinload(Trial.logger).selectinload(Logger.checks),
        selectinload(Trial.log).selectinload(Log.channels),
        results.selectinload(ChannelResult.notes),
        results.selectinload(ChannelResult.pool).selectinload(NaturalDecayPool.runs),
    )


def detail_of(trial: Trial) -> TrialDetail:
    results = {result.channel: result for result in trial.results}
    channels = tuple(_channel(results[name], trial) for name in in_order(results))
    return TrialDetail(trial, channels, overdue_words(trial.logger, trial.started_at.date()))


def _channel(result: ChannelResult, trial: Trial) -> ChannelDetail:
    total = measured_or_none(
        result.total_decay_per_h, result.total_decay_uncertainty_per_h, result.total_decay_degrees_of_freedom
    )
    natural = None if result.pool is None else _on_one_day(result.pool)
    return ChannelDetail(
        result=result,
        total_decay=total,
        natural_decay=natural,
        clean_air_delivery_rate=_with_interval(
            result.clean_air_delivery_rate_m3_per_h,
            result.clean_air_delivery_rate_uncertainty,
            result.clean_air_delivery_rate_low_95,
            result.clean_air_delivery_rate_high_95,
        ),
        air_changes=air_changes_per_h(total, natural) if total and natural else None,
        standard_clearing_time=_with_interval(
            result.standard_clearing_time_min,
            result.standard_clearing_time_uncertainty_min,
            result.standard_clearing_time_low_95_min,
            result.standard_clearing_time_high_95_min,
        ),
        predicted_clear_min=measured_or_none(result.predicted_clear_min, result.predicted_clear_uncertainty_min, None),
        start_level=measured_or_none(result.start_level, result.start_level_uncertainty, None),
        background_level=measured_or_none(result.background_level, result.background_uncertainty, None),
        unit_on_min=measured_or_none(
            result.unit_on_s / 60,
            None if result.unit_on_uncertainty_s is None else result.unit_on_uncertainty_s / 60,
            None,
        ),
        time_to_clear=measured_or_none(result.time_to_clear_min, result.time_to_clear_uncertainty_min, None),
        systematic=_budget(result, trial),
        logger_linearity=_linearity(result, trial),
        empty_room_trials=_trials_of(result.pool.runs if result.pool else ()),
        notes=tuple(stored_note(note) for note in result.notes),
    )


def _budget(result: ChannelResult, trial: Trial) -> tuple[SystematicLine, ...]:
    fit, room, timing = stored_fit(result), trial.room, timing_of(trial.logger)
    if fit is None:
        return ()
    share = room.room_volume_uncertainty_m3 / room.room_volume_m3
    if result.clean_air_delivery_rate_m3_per_h is None:
        return budget_of(fit, timing=timing)
    return budget_of(fit, share, result.clean_air_delivery_rate_check_unit_share, timing)


def _linearity(result: ChannelResult, trial: Trial) -> str:
    """A sentence on the curvature of the logger; "" without a rate or a check."""
    fit, start, end = stored_fit(result), result.fit_window_start_min, result.fit_window_end_min
    if fit is None or fit.decay_rate is None or start is None or end is None or trial.logger is None:
        return ""
    if result.background_level is None or not result.amplitude or fit.decay_rate.value <= 0:
        return ""
    decay = Decay(result.background_level, result.amplitude, fit.decay_rate.value, (end - start) / 60)
    included = result.curvature_uncertainty_per_h or 0.0
    return linearity_words(trial.logger, trial.started_at.date(), result.channel, decay, included)


def _on_one_day(pool: NaturalDecayPool) -> Measured:
    if pool.on_one_day_uncertainty_per_h is None:
        degrees = math.inf if pool.degrees_of_freedom is None else pool.degrees_of_freedom
        return Measured(pool.natural_decay_per_h, pool.uncertainty_per_h, degrees)
    degrees = math.inf if pool.on_one_day_degrees_of_freedom is None else pool.on_one_day_degrees_of_freedom
    return Measured(pool.natural_decay_per_h, pool.on_one_day_uncertainty_per_h, degrees)


def _with_interval(
    value: float | None, uncertainty: float | None, low: float | None, high: float | None
) -> AsymmetricMeasured | None:
    if value is None or uncertainty is None or low is None or high is None:
        return None
    return AsymmetricMeasured(value, uncertainty, low, high)


def _trials_of(runs: Sequence[NaturalDecayPoolRun]) -> tuple[int, ...]:
    return tuple(sorted(run.trial_id for run in runs))
