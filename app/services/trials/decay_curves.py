"""Decay curves of chosen trials in one chart: readings, fit and band, in minutes from unit on."""

from dataclasses import dataclass, replace
from datetime import datetime

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import Select, select
from sqlalchemy.orm import Session

from app.errors import InvalidValue, NotFound
from app.services.logs.readings import read_readings, thinned_positions
from app.services.logs.trial_kinds import EMPTY_ROOM
from app.services.ranking.rows import RankingTable
from app.services.ranking.table import RankedSetting, Ranking, lines_of_unit, rank, rank_units
from app.services.results.rows import stored_channel_decay
from app.services.snapshot.bench_snapshot import BenchSnapshot, current_snapshot
from app.services.snapshot.choices import EVERY, HIGHEST, MOST_ROWS, Offered, RankingChoices
from app.services.snapshot.evenly_spread import spread_over
from app.services.trials.usable import latest_usable_trials, of_aerosol
from app.storage.models.bench import Bench
from app.storage.models.rooms import Room
from app.storage.models.trials import ChannelResult, Trial
from app.storage.models.units_under_test import SpeedSetting, UnitUnderTest

_Levels = NDArray[np.float64]
_NONE: _Levels = np.empty(0)

MOST_CURVES = 8
SCALES = ("linear", "log")  # of the level axis
_POINTS_A_CURVE, POINTS_OF_ONE_TRIAL, FIT_POINTS = 300, 2000, 120


@dataclass(frozen=True, slots=True, kw_only=True)
class CurveChoices:
    """Choices in the URL of the overlay.

    trial_ids, unit_ids : what to draw, a unit by its latest usable trial; both empty: units spread over the ranking
    room_id : of the units' trials and the empty room; None: the room with most trials
    """

    trial_ids: tuple[int, ...] = ()
    unit_ids: tuple[int, ...] = ()
    channel: str = ""
    setting: str = HIGHEST
    room_id: int | None = None
    normalised: bool = False
    scale: str = "linear"
    with_empty_room: bool = True

    @property
    def ranking(self) -> RankingChoices:
        """Choices of the ranking that the curves are chosen from."""
        return RankingChoices(setting=self.setting, channel=self.channel, room_id=self.room_id, limit=MOST_ROWS)


@dataclass(frozen=True, slots=True)
class DecayCurve:
    """One trial's curve. Times are minutes from unit on; levels in the channel's unit, or in percent.

    levels : readings, thinned without losing peaks; missing readings are not replaced
    fit_minutes, fit_levels, fit_low, fit_high : fit and its 95 % band from the window's start on; empty without a fit
    cleared, time_to_clear_min, not_cleared_before_min : as stored; False and a bound if it was not reached
    """

    trial_id: int
    unit_id: int | None
    name: str
    setting: str
    room: str
    started_at: datetime
    kind: str
    usable: bool
    excluded: bool
    minutes: tuple[float, ...]
    levels: tuple[float, ...]
    fit_minutes: tuple[float, ...]
    fit_levels: tuple[float, ...]
    fit_low: tuple[float, ...]
    fit_high: tuple[float, ...]
    fit_window_min: tuple[float, float] | None
    start_level: float
    start_level_uncertainty: float | None
    end_min: float
    clear_level: float
    cleared: bool
    time_to_clear_min: float | None
    time_to_clear_uncertainty_min: float | None
    not_cleared_before_min: float | None
    total_decay_per_h: float | None
    total_decay_uncertainty_per_h: float | None


@dataclass(frozen=True, slots=True)
class DecayOverlay:
    """Curves for one chart, and what was left out.

    lines : of each curve, the ranked result of its setting; None for an empty room, or what is not ranked
    empty_room : the latest usable empty-room run of the same room, None where there is none
    left_out : sentences on what is not drawn; spread_of : ranked units selected from, 0 if the reader chose
    """

    choices: CurveChoices
    offered: Offered
    unit: str
    curves: tuple[DecayCurve, ...]
    lines: tuple[RankedSetting | None, ...]
    empty_room: DecayCurve | None
    left_out: tuple[str, ...]
    spread_of: int


def decay_overlay(session: Session, choices: CurveChoices | None = None, *, with_points: bool = True) -> DecayOverlay:
    """The requested curves, at most eight; without their points where only words and results are wanted.

    Raises InvalidValue for an unknown choice.
    """
    chosen = choices or CurveChoices()
    if chosen.scale not in SCALES:
        raise InvalidValue(f"The scale is {chosen.scale!r}; choose linear or log.", field="scale")
    ranking = _ranking_of(current_snapshot(session), chosen)
    channel, room_id = ranking.choices.channel, ranking.choices.room_id
    chosen = replace(chosen, channel=channel, room_id=room_id)
    left_out, spread_of = list[str](), 0
    trial_ids = list(dict.fromkeys(chosen.trial_ids))
    lines = [line for line in ranking.lines if line.row.usable_trials]
    if chosen.unit_ids:
        trial_ids += _trials_of_units(session, chosen, lines, left_out)
    elif not trial_ids:
        shown = spread_over(lines, MOST_CURVES - 1)
        spread_of = len(lines)
        trial_ids = _latest_trials(session, shown, channel, room_id)
    if len(trial_ids) > MOST_CURVES:
        left_out.append(f"{len(trial_ids)} curves were requested; the first {MOST_CURVES} are shown.")
        trial_ids = trial_ids[:MOST_CURVES]
    rows = {trial.id: row for row in _read(session, trial_ids, channel) if (trial := row[0])}
    missing = [str(trial_id) for trial_id in trial_ids if trial_id not in rows]
    if missing:
        left_out.append(f"No result for this channel, or in the trash: trial {', '.join(missing)}.")
    curves = tuple(
        _curve(session, rows[trial_id], chosen, with_points=with_points) for trial_id in trial_ids if trial_id in rows
    )
    empty_room = _empty_room(session, chosen, curves) if chosen.with_empty_room else None
    unit = next((row[1].unit for row in rows.values()), "µg/m³")
    by_setting = {line.row.setting_id: line for line in ranking.lines if line.row.setting_id is not None}
    results = tuple(
        by_setting.get(rows[curve.trial_id][0].setting_id or 0) if curve.usable and not curve.excluded else None
        for curve in curves
    )
    return DecayOverlay(chosen, ranking.offered, unit, curves, results, empty_room, tuple(left_out), spread_of)


def _ranking_of(snapshot: BenchSnapshot, chosen: CurveChoices) -> Ranking:
    """The ranking that the curves are chosen from; a single requested unit is read alone."""
    if len(chosen.unit_ids) == 1 and chosen.setting == EVERY:
        known = lines_of_unit(snapshot, chosen.unit_ids[0], chosen.ranking)
        return rank(snapshot, RankingTable(known.lines, known.offered), chosen.ranking)
    return rank_units(snapshot, chosen.ranking)


def _trials_of_units(
    session: Session, chosen: CurveChoices, lines: list[RankedSetting], left_out: list[str]
) -> list[int]:
    by_unit: dict[int, list[RankedSetting]] = {}
    for line in lines:
        by_unit.setdefault(line.row.unit_id, []).append(line)
    wanted = [line for unit_id in dict.fromkeys(chosen.unit_ids) for line in by_unit.get(unit_id, [])]
    absent = [str(unit_id) for unit_id in chosen.unit_ids if unit_id not in by_unit]
    if absent:
        left_out.append(f"No usable trial at this setting in this room: unit {', '.join(absent)}.")
    return _latest_trials(session, wanted, chosen.channel, chosen.room_id)


def _latest_trials(session: Session, lines: list[RankedSetting], channel: str, room_id: int | None) -> list[int]:
    """The latest usable trial of each line, in the order of the lines."""
    setting_ids = [line.row.setting_id for line in lines if line.row.setting_id is not None]
    trials = latest_usable_trials(session, setting_ids, channel, room_id)
    return [trials[setting_id] for setting_id in setting_ids if setting_id in trials]


_Row = tuple[Trial, ChannelResult, str, str | None, str | None, str | None]


def _select() -> Select[Trial, ChannelResult, str, str | None, str | None, str | None]:
    return (
        select(Trial, ChannelResult, Room.name, UnitUnderTest.maker, UnitUnderTest.model, SpeedSetting.name)
        .join(ChannelResult, ChannelResult.trial_id == Trial.id)
        .join(Room, Room.id == Trial.room_id)
        .outerjoin(UnitUnderTest, UnitUnderTest.id == Trial.unit_under_test_id)
        .outerjoin(SpeedSetting, SpeedSetting.id == Trial.setting_id)
    )


def _read(session: Session, trial_ids: list[int], channel: str) -> list[_Row]:
    wanted = (Trial.id.in_(trial_ids), ChannelResult.channel == channel, Trial.trashed_at.is_(None))
    in_use = UnitUnderTest.trashed_at.is_(None)  # empty-room runs have no unit
    return list(session.execute(_select().where(*wanted, in_use)))


def _empty_room(session: Session, chosen: CurveChoices, curves: tuple[DecayCurve, ...]) -> DecayCurve | None:
    if any(curve.kind == EMPTY_ROOM for curve in curves):
        return None  # drawn already
    asked = CurveChoices(channel=chosen.channel, room_id=chosen.room_id, normalised=chosen.normalised)
    return current_snapshot(session).view(_latest_empty_room, asked)


def _latest_empty_room(snapshot: BenchSnapshot, chosen: CurveChoices) -> DecayCurve | None:
    session = snapshot.session
    of_room = Trial.kind == EMPTY_ROOM, Trial.room_id == chosen.room_id
    present = Trial.excluded_at.is_(None), Trial.trashed_at.is_(None)
    usable = ChannelResult.usable == True  # noqa: E712  # a column; PostgreSQL has no IS for numbers
    # of the aerosol of the ranking that the curves are chosen from
    query = _select().where(*of_room, *present, of_aerosol(), ChannelResult.channel == chosen.channel, usable)
    found = session.execute(query.order_by(Trial.started_at.desc(), Trial.id.desc()).limit(1)).first()
    return None if found is None else _curve(session, found, chosen)


def trial_curve(session: Session, trial_id: int, channel: str = "") -> DecayCurve:
    """The curve of one trial over its whole log, including the smoke before unit on (negative minutes).

    Raises NotFound for a trial without a result for the channel.
    """
    if not channel:
        channel = session.scalar(select(Bench.main_channel)) or "pm2_5"
    rows = _read(session, [trial_id], channel)
    if not rows:
        raise NotFound("result for this channel of trial", trial_id)
    return _curve(session, rows[0], CurveChoices(channel=channel), whole_log=True)


def _curve(
    session: Session, row: _Row, chosen: CurveChoices, *, whole_log: bool = False, with_points: bool = True
) -> DecayCurve:
    trial, result, room, maker, model, setting = row
    factor = 100.0 / result.start_level if chosen.normalised and result.start_level > 0 else 1.0
    minutes, levels = _readings(session, trial, result, whole_log=whole_log) if with_points else (_NONE, _NONE)
    end_min = (result.end_s - result.unit_on_s) / 60
    fit_minutes, fitted = fitted_curve(result, end_min) if with_points else (_NONE, (_NONE, _NONE, _NONE))
    start, end = result.fit_window_start_min, result.fit_window_end_min
    window = None if start is None or end is None else (start, end)
    return DecayCurve(
        trial_id=trial.id,
        unit_id=trial.unit_under_test_id,
        name="Empty room" if trial.kind == EMPTY_ROOM else f"{maker} {model}",
        setting=setting or "",
        room=room,
        started_at=trial.started_at,
        kind=trial.kind,
        usable=result.usable,
        excluded=trial.excluded_at is not None,
        minutes=plain_numbers(minutes),
        levels=plain_numbers(levels * factor),
        fit_minutes=plain_numbers(fit_minutes),
        fit_levels=plain_numbers(fitted[0] * factor),
        fit_low=plain_numbers(fitted[1] * factor),
        fit_high=plain_numbers(fitted[2] * factor),
        fit_window_min=window,
        start_level=result.start_level,
        start_level_uncertainty=result.start_level_uncertainty,
        end_min=end_min,
        clear_level=result.clear_level * factor,
        cleared=result.cleared,
        time_to_clear_min=result.time_to_clear_min,
        time_to_clear_uncertainty_min=result.time_to_clear_uncertainty_min,
        not_cleared_before_min=result.not_cleared_before_min,
        total_decay_per_h=result.total_decay_per_h,
        total_decay_uncertainty_per_h=result.total_decay_uncertainty_per_h,
    )


def _readings(session: Session, trial: Trial, result: ChannelResult, *, whole_log: bool) -> tuple[_Levels, _Levels]:
    """Readings from unit on to the end of the run, or of the whole log, thinned."""
    log = read_readings(session, trial.log_id, [result.channel])
    level, elapsed_s = log.levels[result.channel], log.elapsed_s - (result.stamped_late_s or 0.0)
    of_run = (elapsed_s >= result.unit_on_s) & (elapsed_s <= result.end_s + 1e-6)
    kept = np.isfinite(level) & (whole_log | of_run)
    minutes, level = (elapsed_s[kept] - result.unit_on_s) / 60, level[kept]
    places = thinned_positions(minutes, level, POINTS_OF_ONE_TRIAL if whole_log else _POINTS_A_CURVE)
    return minutes[places], level[places]


def fitted_curve(result: ChannelResult, end_min: float) -> tuple[_Levels, tuple[_Levels, _Levels, _Levels]]:
    """Minutes from the start of the fit window to the end of the run, with the fitted level and its 95 % band; all
    empty without a fit."""
    from app.compute.decay.analysis import decay_curve  # deferred import: it needs scipy

    start, nothing = result.fit_window_start_min, (_NONE, (_NONE, _NONE, _NONE))
    if start is None or result.total_decay_per_h is None or end_min <= start:
        return nothing
    minutes = np.linspace(start, end_min, FIT_POINTS)
    level, low, high = decay_curve(stored_channel_decay(result), minutes)
    return (minutes, (level, np.maximum(low, 0.0), high)) if bool(np.all(np.isfinite(level))) else nothing


def plain_numbers(values: _Levels) -> tuple[float, ...]:
    """Plain numbers with six significant digits, more than any logger gives."""
    return tuple(float(f"{value:.6g}") for value in values.tolist())
