"""Answers a question on runs to come from what the bench knows; cached on the snapshot."""

from dataclasses import dataclass, replace
from datetime import UTC, datetime

from app.compute.planning.answer import Answer, Known
from app.compute.planning.campaign import PlannedRun, campaign
from app.compute.planning.natural_ahead import uncertainty_growth
from app.errors import InvalidValue, NotFound
from app.services.adding_trials.plans.definitions import PlanChoices, asked_settings
from app.services.adding_trials.plans.goals import PlannedBench, answer_of_order, answer_of_settings
from app.services.adding_trials.plans.settings import (
    as_day,
    bench_spread,
    planned_room,
    planned_settings,
    setting_names,
)
from app.services.results.control_charts.key import ChartKey
from app.services.snapshot.bench_snapshot import BenchSnapshot
from app.services.snapshot.choices import AvailableRoom, RankingChoices, read_offered
from app.services.snapshot.settings_in_rooms import read_tested_settings

DAYS_OF_GROWTH = 30.0


@dataclass(frozen=True, slots=True)
class PlanView:
    """The answer, the campaign that it asks for, and the question with defaults filled in."""

    choices: PlanChoices
    answer: Answer
    campaign: tuple[PlannedRun, ...]

    def minutes_of(self, run: PlannedRun) -> int:
        if run.setting is None:
            return self.answer.empty_minutes
        return next(one.minutes for one in self.answer.runs if one.setting_id == run.setting)

    def name_of(self, run: PlannedRun) -> str:
        if run.setting is None:
            return "Empty room"
        return next(one.name for one in self.answer.runs if one.setting_id == run.setting)


def plan_view(snapshot: BenchSnapshot, choices: PlanChoices) -> PlanView:
    """The answer to a question; without a first day the campaign begins today.

    Raises InvalidValue for a missing or unknown choice, NotFound for an unknown setting.
    """
    if choices.starts_on is None:
        choices = replace(choices, starts_on=datetime.now(UTC).date())
    return snapshot.view(_plan_view, choices)


def _plan_view(snapshot: BenchSnapshot, choices: PlanChoices) -> PlanView:
    asked = asked_settings(choices)
    filled, offered = read_offered(
        snapshot, RankingChoices(channel=choices.channel, aerosol=choices.aerosol, room_id=choices.room_id)
    )
    room = offered.room(filled.room_id)
    if room is None:
        raise InvalidValue("No room of this bench has a trial yet. Add a trial of a unit first.", field="room_id")
    choices = replace(choices, channel=filled.channel, room_id=room.id)
    names = setting_names(snapshot.session, asked)
    for setting_id in asked:
        if setting_id not in names:
            raise NotFound("setting", setting_id)
    bench = _bench(snapshot, choices, room)
    if asked:
        where = choices.channel, choices.aerosol, room.id
        settings = planned_settings(snapshot, {one: names[one] for one in asked}, bench.tested, where)
        answer = answer_of_settings(bench, [settings[one] for one in asked])
    else:
        answer = answer_of_order(bench)
    trials = {one.setting_id: one.more for one in answer.runs}
    runs = campaign(trials, answer.empty_runs, runs_a_day=choices.runs_a_day, seed=choices.seed)
    return PlanView(choices, answer, runs)


def _bench(snapshot: BenchSnapshot, choices: PlanChoices, room: AvailableRoom) -> PlannedBench:
    if choices.starts_on is None:
        raise InvalidValue("The campaign has no first day. Enter a date.", field="starts_on")
    session, first_day = snapshot.session, as_day(choices.starts_on)
    planned = planned_room(session, ChartKey(room.id, choices.channel, choices.aerosol), first_day)
    spread = bench_spread(session, choices.channel)
    chosen = planned.chosen.chosen
    known = Known(
        room=room.name,
        channel=choices.channel,
        between_trials=spread.relative_sd,
        degrees_of_freedom=spread.degrees_of_freedom,
        source=spread.source,
        mostly_assumed=spread.mostly_assumed,
        natural_uncertainty=uncertainty_growth(chosen, planned.spread, DAYS_OF_GROWTH) if chosen else None,
        natural_is_stale=planned.chosen.stale,
    )
    tested = dict(read_tested_settings(snapshot, choices.channel, choices.aerosol, room.id))
    return PlannedBench(snapshot, choices, planned, tested, known, first_day)
