"""What the bench knows of the settings and the room of a plan, as input of `compute/planning/`."""

import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

import numpy as np
from sqlalchemy import Select, func, select
from sqlalchemy.orm import Session

from app.compute.clean_air.empty_room_runs import ChosenRuns
from app.compute.decay.systematic import shared_parts
from app.compute.planning.natural_ahead import FurtherRuns, RoomAhead, levels_ahead, scaled_levels
from app.compute.planning.run_length import RunLength, RunSeen, advised_length
from app.compute.planning.trial_variance import TrialVariance, combined_with_bench, variance_of_trials
from app.compute.statistics.measured import Measured, measured_or_none
from app.compute.statistics.repeatability import ASSUMED_BETWEEN_TRIALS, Repeatability
from app.compute.statistics.shared_parts import SharedParts, shared_uncertainty, without_shared_part
from app.compute.statistics.spread_sources import OWN_REPEATS
from app.services.results.control_charts.key import ChartKey
from app.services.results.natural_decay_pools import EmptyRoomRuns
from app.services.results.repeatability import FIGURES
from app.services.results.rows import stored_fit
from app.services.results.summary_trials import PARTS
from app.services.snapshot.bench_snapshot import BenchSnapshot
from app.services.snapshot.settings_in_rooms import TestedSetting
from app.storage.models.loggers import SmokeSource
from app.storage.models.summaries import BenchRepeatability, SettingSummary
from app.storage.models.trials import ChannelResult, NaturalDecayPool, Trial
from app.storage.models.units_under_test import SpeedSetting, UnitUnderTest

EMPTY_RUN_MIN = 120  # without an earlier run to learn from; common practice, no source
MOST_EMPTY_RUNS = 10


@dataclass(frozen=True, slots=True)
class PlannedSetting:
    """A setting of a plan; `variance` and `length` are None without a usable trial.

    differs : its trials differ by more than repeats of the bench do
    """

    setting_id: int
    unit_id: int
    name: str
    trials: int
    variance: TrialVariance | None
    length: RunLength | None
    differs: bool = False


def bench_spread(session: Session, channel: str) -> Repeatability:
    """The spread between trials that the bench assumes or knows in a channel."""
    columns = (getattr(BenchRepeatability, name) for name in FIGURES)
    row = session.execute(select(*columns).where(BenchRepeatability.channel == channel)).first()
    return ASSUMED_BETWEEN_TRIALS if row is None else Repeatability(*row)


def setting_names(session: Session, setting_ids: Collection[int]) -> dict[int, tuple[int, str]]:
    """Unit and name of settings of units outside the trash, such as "Maker Model at “high”"."""
    found = session.execute(
        select(SpeedSetting.id, UnitUnderTest.id, UnitUnderTest.maker, UnitUnderTest.model, SpeedSetting.name)
        .join(UnitUnderTest, UnitUnderTest.id == SpeedSetting.unit_under_test_id)
        .where(SpeedSetting.id.in_(setting_ids), UnitUnderTest.trashed_at.is_(None))
    )
    return {setting: (unit, f"{maker} {model} at “{name}”") for setting, unit, maker, model, name in found}


def planned_settings(
    snapshot: BenchSnapshot,
    names: dict[int, tuple[int, str]],
    tested: Mapping[int, TestedSetting],
    where: tuple[str, str, int],
) -> dict[int, PlannedSetting]:
    """The settings with the variance of one trial and the advised length of run.

    where : channel, aerosol and room
    """
    session = snapshot.session
    spread = bench_spread(session, where[0])
    summaries = {row.setting_id: row for row in session.execute(_summaries(where, list(names)))}
    results: dict[int, list[ChannelResult]] = {}
    for setting_id, result in session.execute(_results(where, list(names))):
        results.setdefault(setting_id or 0, []).append(result)
    units = snapshot.some_units(shared_by_unit, where, {unit_id for unit_id, _ in names.values()})
    found = {}
    for setting_id, (unit_id, name) in names.items():
        one, runs = tested.get(setting_id), results.get(setting_id, [])
        row = summaries.get(setting_id)
        variance = length = None
        if one is not None and one.total_decay is not None and row is not None and runs:
            variance, length = _variance_and_length(one.total_decay, row, runs, units[unit_id][setting_id], spread)
        trials = row.usable_trials if row is not None else 0
        differs = bool(row is not None and row.heterogeneous)
        found[setting_id] = PlannedSetting(setting_id, unit_id, name, trials, variance, length, differs)
    return found


@dataclass(frozen=True, slots=True)
class SharedOfSetting:
    """What the trials of a setting share, and the mean of the parts of one trial. [1/h]"""

    of_mean: float
    parts: SharedParts


def shared_by_unit(
    snapshot: BenchSnapshot, where: tuple[str, str, int], unit_ids: Collection[int] | None
) -> dict[int, dict[int, SharedOfSetting]]:
    """By unit, and by setting with a usable trial, with equal weights of its trials."""
    rows = snapshot.session.execute(_parts(where, unit_ids)).all()
    if not rows:
        return {}
    units, settings, loggers, *stored = zip(*rows, strict=True)
    parts = shared_parts(*np.array(stored, dtype=np.float64)).rows()
    of_setting: dict[tuple[int, int], list[tuple[SharedParts, int | None]]] = {}
    for unit_id, setting_id, of_trial, logger_id in zip(units, settings, parts, loggers, strict=True):
        of_setting.setdefault((unit_id, setting_id), []).append((of_trial, logger_id))
    found: dict[int, dict[int, SharedOfSetting]] = {}
    for (unit_id, setting_id), trials in of_setting.items():
        own = [each for each, _ in trials]
        weights = [1 / len(own)] * len(own)
        mean = SharedParts(*(sum(part) / len(own) for part in zip(*own, strict=True)))
        of_mean = shared_uncertainty(weights, own, [logger_id for _, logger_id in trials])
        found.setdefault(unit_id, {})[setting_id] = SharedOfSetting(of_mean, mean)
    return found


def _variance_and_length(
    total: Measured, row: Any, runs: Sequence[ChannelResult], shared: SharedOfSetting, spread: Repeatability
) -> tuple[TrialVariance, RunLength | None]:
    """Of one further trial: what the summary's interval says of one trial, with the fit of a run of advised length."""
    rates = [rate for run in runs if (rate := _rate(run)) is not None]
    of_fits = _mean([without_shared_part(rate, shared.parts.total).uncertainty ** 2 for rate in rates])
    own = without_shared_part(total, shared.of_mean)
    variance = variance_of_trials(own, max(row.usable_trials, 1), shared.of_mean)
    if row.between_trial_source == OWN_REPEATS:
        variance = combined_with_bench(variance, total.value, of_fits, spread)
    between = row.between_trial_sd_per_h or spread.relative_sd * total.value
    seen = run_seen(runs[-1])
    length = advised_length(seen, between) if seen is not None else None
    if length is not None:
        later = shared.parts._replace(warm_up=max(length.warm_up_per_h, shared.parts.warm_up))
        shorter = max(length.noise_per_h**2 - of_fits, 0.0)
        variance = replace(variance, shorter=shorter, shared_later_per_h=later.total)
    return variance, length


def run_seen(result: ChannelResult) -> RunSeen | None:
    """The fit of a stored result as a model of runs to come; None where it cannot serve."""
    fit = stored_fit(result)
    if fit is None or fit.decay_rate is None or fit.amplitude is None or fit.background is None:
        return None
    rate = fit.decay_rate.value
    begin_h = fit.window_start_h - result.unit_on_s / 3600
    amplitude = fit.amplitude.value * math.exp(-rate * begin_h) if rate > 0 else 0.0
    if not (rate > 0 and amplitude > 0 and fit.statistical_uncertainty_per_h > 0):
        return None
    return RunSeen(
        rate_per_h=rate,
        amplitude=amplitude,
        background=max(fit.background.value, 0.0),
        length_min=60 * (fit.window_end_h - fit.window_start_h),
        before_min=60 * fit.window_start_h,
        noise_per_h=fit.statistical_uncertainty_per_h,
    )


@dataclass(frozen=True, slots=True)
class PlannedRoom:
    """The room of a plan: its empty-room runs that can be used on the first day, and the advised length of the next.

    spread : between days, as other rooms suggest or as assumed
    """

    key: ChartKey
    pools: EmptyRoomRuns
    chosen: ChosenRuns
    spread: Repeatability
    length: RunLength | None

    @property
    def minutes(self) -> int:
        return EMPTY_RUN_MIN if self.length is None else self.length.minutes

    def ahead(self, so_far: Measured, day_so_far: float, days: tuple[float, float]) -> RoomAhead:
        """The room with further runs on the days of a campaign.

        so_far : natural decay of the trials so far, whose week is that of `day_so_far`
        """
        further = FurtherRuns(days, self._fit_of_next, MOST_EMPTY_RUNS)
        campaign = levels_ahead(self.chosen.chosen, self.spread, (days[0] + days[1]) / 2, further)
        # a run that the bench would not use for the trials so far does nothing for them
        serves = abs((days[0] + days[1]) / 2 - day_so_far) <= self.pools.stale_after_days
        chosen = self.pools.of_room(self.key, day_so_far)[0].chosen if serves else ()
        now = scaled_levels(so_far, levels_ahead(chosen, self.spread, day_so_far, further) if chosen else campaign[:1])
        return RoomAhead(now + now[-1:] * (len(campaign) - len(now)), campaign)

    def left_after_one(self, day: float, first_day: float) -> float:
        """Share of the variance of the natural decay of an earlier day that one run on the first day leaves."""
        chosen = self.pools.of_room(self.key, day)[0].chosen
        if not chosen or abs(first_day - day) > self.pools.stale_after_days:
            return 1.0
        now, later = levels_ahead(chosen, self.spread, day, FurtherRuns((first_day, first_day), self._fit_of_next, 1))
        return min((later.expected.uncertainty / now.expected.uncertainty) ** 2, 1.0)

    @property
    def _fit_of_next(self) -> float:
        """Uncertainty of the rate of the next empty-room run by its fit [1/h]."""
        fits = [run.decay_rate.uncertainty for run in self.chosen.chosen]
        return self.length.uncertainty_per_h if self.length is not None else _mean(fits)


def planned_room(session: Session, key: ChartKey, day: float) -> PlannedRoom:
    pools = EmptyRoomRuns(session, key.channel)
    chosen, spread = pools.of_room(key, day)
    length = None
    if chosen.chosen:
        latest = max(chosen.chosen, key=lambda run: (run.day, run.run_id))
        result = session.scalar(
            select(ChannelResult).where(ChannelResult.trial_id == latest.run_id, ChannelResult.channel == key.channel)
        )
        seen = run_seen(result) if result is not None else None
        if seen is not None:
            length = advised_length(seen, spread.relative_sd * latest.decay_rate.value)
    return PlannedRoom(key, pools, chosen, spread, length)


def days_of_pools(session: Session, pool_ids: Collection[int]) -> dict[int, float]:
    """The middle of the week of each pool, or its last run where it has none."""
    pools = session.scalars(select(NaturalDecayPool).where(NaturalDecayPool.id.in_(pool_ids)))
    return {pool.id: as_day(pool.week_of or pool.last_run_on) for pool in pools}


def as_day(day: date) -> float:
    return (day - date(1970, 1, 1)).days + 0.5


def _rate(result: ChannelResult) -> Measured | None:
    return measured_or_none(
        result.total_decay_per_h, result.total_decay_uncertainty_per_h, result.total_decay_degrees_of_freedom
    )


def _mean(numbers: Sequence[float]) -> float:
    return sum(numbers) / len(numbers) if numbers else 0.0


def _summaries(where: tuple[str, str, int], setting_ids: list[int]) -> Select[*tuple[Any, ...]]:
    channel, aerosol, room_id = where
    return select(
        SettingSummary.setting_id,
        SettingSummary.usable_trials,
        SettingSummary.between_trial_sd_per_h,
        SettingSummary.between_trial_source,
        SettingSummary.heterogeneous,
    ).where(
        SettingSummary.channel == channel,
        SettingSummary.aerosol == aerosol,
        SettingSummary.room_id == room_id,
        SettingSummary.setting_id.in_(setting_ids),
    )


def _results(where: tuple[str, str, int], setting_ids: list[int]) -> Select[*tuple[Any, ...]]:
    """Usable results of the settings, oldest first."""
    return _of_usable(select(Trial.setting_id, ChannelResult), where).where(Trial.setting_id.in_(setting_ids))


def _parts(where: tuple[str, str, int], unit_ids: Collection[int] | None) -> Select[*tuple[Any, ...]]:
    """Of the usable results of some units, or of all: setting, logger, rate and the parts of its uncertainty."""
    columns = Trial.unit_under_test_id, Trial.setting_id, Trial.logger_id, ChannelResult.total_decay_per_h, *PARTS
    query = _of_usable(select(*columns), where)
    if unit_ids is None:
        return query.where(Trial.setting_id.is_not(None))
    return query.where(Trial.unit_under_test_id.in_(unit_ids))


def _of_usable(query: Select[*tuple[Any, ...]], where: tuple[str, str, int]) -> Select[*tuple[Any, ...]]:
    channel, aerosol, room_id = where
    return (
        query.join(ChannelResult, ChannelResult.trial_id == Trial.id)
        .outerjoin(SmokeSource, SmokeSource.id == Trial.smoke_source_id)
        .where(
            Trial.room_id == room_id,
            Trial.trashed_at.is_(None),
            Trial.excluded_at.is_(None),
            ChannelResult.channel == channel,
            ChannelResult.usable == True,  # noqa: E712  # a column, not a truth value
            ChannelResult.total_decay_uncertainty_per_h > 0,
            func.coalesce(SmokeSource.aerosol, "smoke") == aerosol,
        )
        .order_by(Trial.started_at, Trial.id)
    )
