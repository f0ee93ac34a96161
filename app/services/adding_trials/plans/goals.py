"""The three questions: a rate, a difference, and the order of the ranking."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import cast

from app.compute.comparison.setting_in_room import SettingInRoom, natural_correlation
from app.compute.planning.answer import Answer, Goal, Known, NextRun, RunsOfSetting, Status, Step
from app.compute.planning.campaign import campaign
from app.compute.planning.next_trial import OrderPlan, RankedSetting, certain_pairs, plan_order
from app.compute.planning.power import (
    DifferenceToPlan,
    PowerAhead,
    fewest_trials,
    least_difference,
    power_after,
    power_by_trials,
)
from app.compute.planning.precision import (
    FEWEST_EMPTY_RUNS,
    MOST_TRIALS,
    RateToPlan,
    RunsAhead,
    fewest_runs,
    floor_half_width,
    half_width_after,
)
from app.compute.statistics.measured import Measured
from app.errors import InvalidValue
from app.services.adding_trials.plans.definitions import PlanChoices
from app.services.adding_trials.plans.settings import (
    PlannedRoom,
    PlannedSetting,
    days_of_pools,
    planned_settings,
    setting_names,
    shared_by_unit,
)
from app.services.ranking.table import rank_units
from app.services.snapshot.bench_snapshot import BenchSnapshot
from app.services.snapshot.choices import MOST_ROWS, RankingChoices
from app.services.snapshot.settings_in_rooms import TestedSetting

FIRST_DAYS = 7  # length of a campaign before its runs are known
TRIAL_MIN = 60  # without an earlier run to learn from; common practice, no source
_NEXT_SHOWN = 10
_POOLS_CONSIDERED = 12
_STEPS_BEYOND = 3  # further trials shown beyond those needed
EMPTY_ROOM = "Empty room"


@dataclass(frozen=True, slots=True)
class PlannedBench:
    """What all questions are answered from; `first_day` counts days since 1970."""

    snapshot: BenchSnapshot
    choices: PlanChoices
    room: PlannedRoom
    tested: Mapping[int, TestedSetting]
    known: Known
    first_day: float


def answer_of_settings(bench: PlannedBench, settings: Sequence[PlannedSetting]) -> Answer:
    """A rate or a difference; a few first runs where a setting or the room has none."""
    found = [bench.tested.get(one.setting_id) for one in settings]
    rooms = [one.in_room for one in found if one is not None and one.in_room is not None]
    untested = any(one.variance is None for one in settings)
    if untested or not bench.room.chosen.chosen or len(rooms) < len(settings):
        return _first_runs(bench, settings)
    if not rooms[0].cleaning_per_h > 0:
        raise InvalidValue(
            f"The decay with {settings[0].name} is not faster than the natural decay, so a share of its rate cannot be "
            "planned. Choose another unit.",
            field="setting_id",
        )
    known = replace(
        bench.known,
        unlike=tuple(one.name for one in settings if one.differs),
        natural_per_h=rooms[0].natural_decay.value,
        natural_share=rooms[0].natural_decay.value / rooms[0].total_decay.value,
    )
    if bench.choices.goal == "rate":
        return _rate(replace(bench, known=known), settings[0], rooms[0])
    return _difference(replace(bench, known=known), settings, rooms)


def _first_runs(bench: PlannedBench, settings: Sequence[PlannedSetting]) -> Answer:
    """One trial of each setting without one, and two empty-room runs that bracket them."""
    runs = tuple(_runs(one, 0 if one.variance is not None else 1) for one in settings)
    needs_room = not bench.room.chosen.chosen
    empty = FEWEST_EMPTY_RUNS if needs_room or any(one.more for one in runs) else 0
    return Answer(
        goal=cast(Goal, bench.choices.goal),  # checked when it was asked
        status="first runs",
        known=bench.known,
        runs=runs,
        empty_runs=empty,
        empty_minutes=bench.room.minutes,
    )


def _runs(one: PlannedSetting, more: int) -> RunsOfSetting:
    minutes = TRIAL_MIN if one.length is None else one.length.minutes
    enough = one.length is None or one.length.is_enough
    return RunsOfSetting(one.setting_id, one.unit_id, one.name, one.trials, more, minutes, enough)


def _rate(bench: PlannedBench, one: PlannedSetting, in_room: SettingInRoom) -> Answer:
    plan, needed = _planned_rate(bench, one, in_room)
    volume, shared = floor_half_width(plan)
    within = bench.choices.within_pct / 100
    now = half_width_after(plan, 0, 0)
    status: Status = "known" if now.assured <= within else "runs" if needed.assured <= within else "not by runs"
    last = min(needed.trials + _STEPS_BEYOND, MOST_TRIALS) if status != "known" else _STEPS_BEYOND
    bracket = max(needed.empty_runs, FEWEST_EMPTY_RUNS)
    ahead = [now, *(half_width_after(plan, trials, bracket) for trials in range(1, last + 1))]
    if needed.trials == 0 and needed.empty_runs:
        ahead.insert(1, needed)
    after_trial, after_empty = half_width_after(plan, 1, 0), half_width_after(plan, 0, 1)
    candidates = (
        NextRun(one.setting_id, one.name, after_trial.assured),
        NextRun(None, EMPTY_ROOM, after_empty.assured),
    )
    return Answer(
        goal="rate",
        status=status,
        known=replace(bench.known, volume_share=volume, shared_share=shared, most_empty_runs=plan.room.most_runs),
        wanted=within,
        now=now.assured,
        then=needed.assured,
        runs=(_runs(one, needed.trials),),
        empty_runs=needed.empty_runs,
        empty_minutes=bench.room.minutes,
        steps=tuple(Step(each.trials, each.empty_runs, each.assured, each.typical) for each in ahead),
        next_runs=tuple(sorted(candidates, key=lambda candidate: candidate.after)),
    )


def _planned_rate(bench: PlannedBench, one: PlannedSetting, in_room: SettingInRoom) -> tuple[RateToPlan, RunsAhead]:
    """The plan of a rate; its campaign is first taken as a week, then as long as its runs need."""
    if one.variance is None:
        raise ValueError(f"{one.name} has no usable trial, so its rate cannot be planned.")
    day, days = days_of_pools(bench.snapshot.session, [in_room.pool_id])[in_room.pool_id], FIRST_DAYS
    for _ in range(2):
        room = bench.room.ahead(in_room.natural_decay, day, (bench.first_day, bench.first_day + days - 1))
        plan = RateToPlan(in_room.total_decay.value, one.variance, room, in_room.volume)
        needed = fewest_runs(plan, bench.choices.within_pct / 100)
        runs = campaign({one.setting_id: needed.trials}, needed.empty_runs, runs_a_day=bench.choices.runs_a_day, seed=1)
        days = runs[-1].day if runs else 1
    return plan, needed


def _difference(bench: PlannedBench, settings: Sequence[PlannedSetting], rooms: Sequence[SettingInRoom]) -> Answer:
    choices = bench.choices
    plan = _planned_difference(bench, settings, rooms)
    first_rate = rooms[0].cleaning_per_h
    wanted = choices.power_pct / 100
    path = power_by_trials(plan)
    needed = fewest_trials(path, wanted)
    status: Status = "not by runs" if needed is None else "runs" if needed.trials else "known"
    runs = needed if needed is not None else path[0]
    known = replace(
        bench.known,
        difference_share=abs(plan.difference_per_h) / first_rate,
        difference_is_measured=choices.difference_pct is None,
    )
    if needed is None:
        least = least_difference(plan, path[-1].first_trials, path[-1].second_trials, wanted) / first_rate
        known = replace(known, least_share=least)
    empty = FEWEST_EMPTY_RUNS if runs.trials else 0
    shown = path if needed is None else path[: needed.trials + 1 + _STEPS_BEYOND]
    candidates = (
        NextRun(settings[0].setting_id, settings[0].name, power_after(plan, 1, 0).power),
        NextRun(settings[1].setting_id, settings[1].name, power_after(plan, 0, 1).power),
    )
    return Answer(
        goal="difference",
        status=status,
        known=known,
        wanted=wanted,
        now=path[0].power,
        then=runs.power,
        runs=(_runs(settings[0], runs.first_trials), _runs(settings[1], runs.second_trials)),
        empty_runs=empty,
        empty_minutes=bench.room.minutes,
        steps=tuple(_power_step(each) for each in shown),
        next_runs=tuple(sorted(candidates, key=lambda candidate: -candidate.after)),
    )


def _power_step(each: PowerAhead) -> Step:
    return Step(each.trials, FEWEST_EMPTY_RUNS if each.trials else 0, each.power)


def _planned_difference(
    bench: PlannedBench, settings: Sequence[PlannedSetting], rooms: Sequence[SettingInRoom]
) -> DifferenceToPlan:
    one, other = settings[0].variance, settings[1].variance
    if one is None or other is None:
        raise ValueError("A setting has no usable trial, so a difference cannot be planned.")
    share = bench.choices.difference_pct
    measured = rooms[0].cleaning_per_h - rooms[1].cleaning_per_h
    apart = measured if share is None else share / 100 * rooms[0].cleaning_per_h
    u, v = (each.natural_decay.uncertainty for each in rooms)
    variance = u * u + v * v - 2 * natural_correlation(rooms[0], rooms[1]) * u * v
    same_pool = rooms[0].pool_id == rooms[1].pool_id
    degrees = min(each.natural_decay.degrees_of_freedom for each in rooms)
    days = bench.first_day, bench.first_day + FIRST_DAYS - 1
    ahead = bench.room.ahead(
        rooms[0].natural_decay, days_of_pools(bench.snapshot.session, [rooms[0].pool_id])[rooms[0].pool_id], days
    )
    campaign_level = ahead.campaign[FEWEST_EMPTY_RUNS].expected.uncertainty
    return DifferenceToPlan(
        one,
        other,
        abs(apart),
        Measured(0.0, 0.0 if same_pool else math.sqrt(max(variance, 0.0)), degrees),
        Measured(0.0, math.hypot(max(u, v), campaign_level), degrees),
    )


def answer_of_order(bench: PlannedBench) -> Answer:
    """The trials that do most for the order of the ranking: highest settings, rates distinguishable from zero."""
    choices = bench.choices
    ranking = rank_units(
        bench.snapshot,
        RankingChoices(channel=choices.channel, aerosol=choices.aerosol, room_id=choices.room_id, limit=MOST_ROWS),
    )
    ranked = []
    where = choices.channel, choices.aerosol, bench.room.key.room_id
    shared = bench.snapshot.by_unit(shared_by_unit, where)
    for line in ranking.lines:
        tested = bench.tested.get(line.row.setting_id or 0)
        if tested is not None and tested.in_room is not None and tested.measurable:
            own = shared.get(line.row.unit_id, {}).get(tested.setting_id)
            trials = line.row.usable_trials or 1
            ranked.append(RankedSetting(tested.setting_id, tested.in_room, trials, own.of_mean if own else 0.0))
    if len(ranked) < 2:
        return replace(_first_runs(bench, ()), empty_runs=0)
    plan = bench.snapshot.of_values(_order_of, tuple(ranked), choices.trials, _natural_left(bench, ranked))
    more: dict[int, int] = {}
    for step in plan.steps:
        more[step.key] = more.get(step.key, 0) + 1
    shown = [key for key, _ in plan.gains[:_NEXT_SHOWN]]
    named = setting_names(bench.snapshot.session, {*more, *shown})
    settings = planned_settings(bench.snapshot, {key: named[key] for key in more}, bench.tested, where)
    settled = certain_pairs(plan)
    steps = (
        Step(0, 0, plan.wrong_now),
        *(Step(n, FEWEST_EMPTY_RUNS, s.wrong_pairs) for n, s in enumerate(plan.steps, 1)),
    )
    return Answer(
        goal="order",
        status="known" if settled else "runs",
        known=bench.known,
        now=plan.wrong_now,
        then=plan.wrong_now if settled else steps[-1].assured,
        runs=() if settled else tuple(_runs(one, more[key]) for key, one in settings.items()),
        empty_runs=0 if settled else FEWEST_EMPTY_RUNS,
        empty_minutes=bench.room.minutes,
        steps=steps,
        next_runs=_next_of_order(plan, {key: name for key, (_, name) in named.items()}),
    )


def _natural_left(bench: PlannedBench, ranked: Sequence[RankedSetting]) -> tuple[tuple[int, float], ...]:
    """By pool, what one empty-room run on the first day leaves of its variance; of the weeks nearest to it, as it does
    little for others.
    """
    pools = {one.in_room.pool_id for one in ranked}
    if len(pools) < 2 or not bench.room.chosen.chosen:  # natural decay cancels between all units
        return ()
    days = days_of_pools(bench.snapshot.session, pools)
    nearest = sorted(days, key=lambda pool: (abs(days[pool] - bench.first_day), pool))[:_POOLS_CONSIDERED]
    return tuple((pool, bench.room.left_after_one(days[pool], bench.first_day)) for pool in nearest)


def _order_of(ranked: tuple[RankedSetting, ...], trials: int, left: tuple[tuple[int, float], ...]) -> OrderPlan:
    """Cached by its arguments (`of_values`), because most changes do not affect it."""
    shares = dict(left)
    return plan_order(ranked, trials, lambda pool_id: shares.get(pool_id, 1.0))


def _next_of_order(plan: OrderPlan, names: Mapping[int, str]) -> tuple[NextRun, ...]:
    found = [NextRun(key, names[key], plan.wrong_now - gain) for key, gain in plan.gains[:_NEXT_SHOWN]]
    found.append(NextRun(None, EMPTY_ROOM, plan.wrong_now - plan.empty_run_gain))
    return tuple(sorted(found, key=lambda one: one.after))
